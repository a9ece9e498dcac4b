"""What a site was made from last time, so that only what changed is made again."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from pydantic import Field, ValidationError

from surrogate.collection.files import write_atomic
from surrogate.errors import WrongUse
from surrogate.records import Record

FILE_NAME = ".surrogate-site.json"


class State(Record):
    """Digests of the inputs of every file; they say nothing about what must not be shown."""

    schema_: Literal["surrogate-site/1"] = Field(default="surrogate-site/1", alias="schema")
    pages: dict[str, str] = Field(default_factory=dict)
    tiles: dict[str, str] = Field(default_factory=dict)
    pictures: dict[str, str] = Field(default_factory=dict)
    checked: str = Field(default="", description="digest of the secrets that the site was last checked against")


def read(site: Path) -> State:
    """The state of a site; an empty one for a new or empty folder.

    Raises :class:`WrongUse` when the folder holds something that was not published by us.
    """
    file = site / FILE_NAME
    if file.is_file():
        try:
            return State.model_validate_json(file.read_bytes())
        except ValidationError as error:
            raise WrongUse(f"{file} is damaged. Remove the site's folder and publish again.") from error
    if site.exists() and (not site.is_dir() or any(site.iterdir())):
        raise WrongUse(f"{site} is not empty and not a site published before. Choose a new folder.")
    return State()


def write(site: Path, state: State) -> None:
    """Keep the state."""
    write_atomic(site / FILE_NAME, (state.model_dump_json(by_alias=True, indent=0) + "\n").encode())
