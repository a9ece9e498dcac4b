"""``collection.toml``: the settings people edit by hand, written with comments on first use."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Literal

from pydantic import Field, ValidationError, field_validator

from surrogate.collection.files import write_atomic
from surrogate.collection.numbering import LETTER, Pattern
from surrogate.errors import CollectionUnusable, WrongUse
from surrogate.records import Kind, Record, Strength

FILE_NAME = "collection.toml"


class CollectionSection(Record):
    """Who keeps the collection and how its originals are numbered."""

    name: str = ""
    credit: str = ""
    rights: str = ""
    reference: str = "{year}.{accession:03}.{item:04}"
    year: int = Field(default=0, ge=0, le=9999)
    accession: int = Field(default=1, ge=0)

    @field_validator("reference")
    @classmethod
    def _sound(cls, pattern: str) -> str:
        Pattern.parse(pattern)
        return pattern


class ScanSection(Record):
    """What is assumed about scans that do not say."""

    kind: str = "auto"
    ppi: float = Field(default=0, ge=0)
    pages: Literal["first", "parts", "sides"] = "first"

    @field_validator("kind")
    @classmethod
    def _known(cls, kind: str) -> str:
        if kind != "auto":
            Kind(kind)
        return kind


class SidesSection(Record):
    """How fronts and backs are found."""

    by_order: bool = True


class CopiesSection(Record):
    """How copies are made."""

    viewing_long_edge: int = Field(default=2048, ge=64, le=20000)
    thumbnail_long_edge: int = Field(default=320, ge=32, le=2048)
    quality: int = Field(default=88, ge=1, le=100)
    crop: bool = True
    strength: Strength = Strength.STANDARD


class TextSection(Record):
    """How text of clippings, documents and backs is recognised."""

    language: str = Field(default="eng", pattern=r"[A-Za-z_]+(\+[A-Za-z_]+)*")


class PublishSection(Record):
    """What may be shown to the world."""

    approved_only: bool = False
    before_and_after: bool = False
    story: str = ""
    taken_down: list[str] = Field(default_factory=list)
    withheld_people: list[str] = Field(default_factory=list)
    only: frozenset[str] | None = None


class Settings(Record):
    """The whole of ``collection.toml``."""

    collection: CollectionSection = CollectionSection()
    letters: dict[str, str] = Field(default_factory=dict)
    scan: ScanSection = ScanSection()
    sides: SidesSection = SidesSection()
    copies: CopiesSection = CopiesSection()
    text: TextSection = TextSection()
    publish: PublishSection = PublishSection()
    profiles: dict[str, str] = Field(default_factory=dict)
    headers: dict[str, str] = Field(default_factory=dict)

    @field_validator("letters")
    @classmethod
    def _kinds(cls, letters: dict[str, str]) -> dict[str, str]:
        for kind, letter in letters.items():
            if kind not in {one.value for one in Kind}:
                known = ", ".join(one.value for one in Kind)
                raise ValueError(f"there is no kind “{kind}”; known kinds are {known}")
            if letter and not LETTER.fullmatch(letter):
                raise ValueError(f"the letter of {kind} must be one to three letters A-Z, not “{letter}”")
        return letters


TEMPLATE = """\
# Settings of this collection. Edit them with any text editor; the next `surrogate process` follows.

[collection]
name = "{name}"            # shown on the report and in every copy's metadata
credit = ""          # whom to credit when a copy is published
rights = ""          # rights statement for all originals that have none of their own
reference = "{{year}}.{{accession:03}}.{{item:04}}"   # pattern of the reference numbers
year = {year}          # the year the collection was received
accession = 1        # which gift or deposit of that year

[letters]            # a letter by kind, for patterns with {{letter}}
# negative = "N"

[scan]
kind = "auto"        # or one kind for all scans: silver-print, colour-print, negative, clipping, document ...
ppi = 0              # resolution of the scans when the files do not say
pages = "first"      # of TIFFs with several pages: copy only the first; "parts": each page as a part of its own;
                     # "sides": page 1 is the front, page 2 its back, and a file with more is set aside

[profiles]           # a scanner's own ICC profile, for scans that carry none; the first line that fits a name counts
# "*" = "scanner.icc"  # `surrogate target SCAN --profile scanner.icc` makes one; "1987/*" is for that folder only

[sides]
by_order = true      # where names do not tell backs from fronts, look at the scans and the order they were made in

[copies]
viewing_long_edge = 2048
thumbnail_long_edge = 320
quality = 88         # JPEG quality, 1-100
crop = true          # trim the scanner bed and straighten
strength = "standard"    # none, gentle, standard, strong

[text]
language = "eng"     # language of clippings and letters, by Tesseract's codes: "deu", or "deu+eng" for both

[publish]
approved_only = false    # true: only what somebody approved at the desk
before_and_after = false # true: show the original as found beside its copy
story = ""           # a few sentences about the collection for the front page
taken_down = []      # reference numbers that must not be shown, e.g. ["{year}.001.0004"]
withheld_people = [] # names of living people that must not appear anywhere on the site

[headers]            # your own words for the columns of the caption sheet
# "Wer ist zu sehen" = "people"
"""


def write_first(folder: Path, year: int) -> None:
    """Write the commented default settings into a new collection."""
    name = folder.resolve().name.replace("\\", " ").replace('"', "'")
    write_atomic(folder / FILE_NAME, TEMPLATE.format(name=name, year=year).encode())


def read(folder: Path) -> Settings:
    """Read ``collection.toml``.

    Raises :class:`CollectionUnusable` in one sentence when it is missing, is not TOML or holds a wrong value.
    """
    path = folder / FILE_NAME
    if not path.is_file():
        raise CollectionUnusable(
            f"{folder} is not a collection: it has no {FILE_NAME}. Give the folder that `surrogate process` made."
        )
    try:
        content = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise CollectionUnusable(f"{path} cannot be read: {error}. Correct that line.") from error
    except OSError as error:
        raise CollectionUnusable(f"{path} cannot be read: {error.strerror}.") from error
    try:
        return Settings.model_validate(content)
    except WrongUse as error:
        raise CollectionUnusable(f"{path}: {error}") from error
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(str(part) for part in first["loc"])
        what = first["msg"].removeprefix("Value error, ")
        raise CollectionUnusable(f"{path}: {where} is wrong: {what}. Correct it.") from error
