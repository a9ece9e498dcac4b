"""Files of the site before they are written: where they go, what they depend on, and how they are made."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from typing import TextIO

from surrogate.handover.templating import templates


@dataclass(frozen=True)
class Planned:
    """One text file of the site.

    ``inputs`` says everything that its content depends on; as long as it stays the same, ``write`` is not called
    again.
    """

    path: str
    inputs: str
    write: Callable[[TextIO], object]

    def digest(self, made_by: str) -> str:
        """Digest of the inputs and of the software that makes the file (``made_by``)."""
        return hashlib.sha256(f"{made_by}\0{self.path}\0{self.inputs}".encode()).hexdigest()[:32]


def digest_of(*parts: object) -> str:
    """A digest to stand for inputs that are long or used many times."""
    return hashlib.sha256(repr(parts).encode()).hexdigest()[:32]


def fixed(path: str, content: str) -> Planned:
    """A file whose content is known already."""
    return Planned(path, content, lambda stream: stream.write(content))


def render(template: str, stream: TextIO, context: dict[str, object]) -> None:
    """Write a page from one of the site's templates."""
    stream.write(templates().get_template(f"site/{template}").render(context))
