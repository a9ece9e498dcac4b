"""What a scan's journey is told and what it brings back: plain records, fit to travel between processes."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from surrogate._version import __version__
from surrogate.collection.catalogue import FileRow
from surrogate.collection.settings import CopiesSection, ScanSection
from surrogate.description.proposals import Proposal
from surrogate.imaging.input_profile import InputProfile
from surrogate.records import Condition, Copy, Fidelity, Kind, LeafSide, Lot, Master, Side, Strength, Tone, Use

if TYPE_CHECKING:  # what only names a type here would load every decoder
    from surrogate.imaging.read import ScanHeader
    from surrogate.recovery.recipe import Recipe

SOFTWARE = f"surrogate {__version__}"

Corners = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Decisions:
    """What people or settings decided about one side; together with the master it settles every copy.

    ``kind`` None means: find out. ``outlines`` None means: find them; empty: keep the whole frame; each has four
    corners in master pixels after turning, clockwise from top left. ``turn`` is in degrees clockwise. ``lot`` is what
    was seen of the prints that it was kept with, None without any. ``profile`` is the scanner's, for a scan that embeds
    none. ``other`` is the other side of a clipping or document, where that was scanned.
    """

    kind: Kind | None
    kind_from: str
    strength: Strength
    tone: Tone
    copies: CopiesSection
    scan: ScanSection
    outlines: tuple[Corners, ...] | None = None
    turn: Literal[0, 90, 180, 270] = 0
    lot: Lot | None = None
    profile: InputProfile | None = None
    other: LeafSide | None = None


@dataclass(frozen=True)
class Job:
    """One side to be taken in from a scan: its page ``page``, counted from 0. ``staging`` is a folder of its own inside
    the collection, ``collection`` that itself. ``back`` is what was decided about the back where the scan's second page
    is to be that, else None; ``apart`` are further pages that are sides of their own.
    """

    scan: Path
    name: str
    side: Side
    staging: Path
    decisions: Decisions
    is_master: bool = False
    collection: Path | None = None
    page: int = 0
    back: Decisions | None = None
    apart: tuple[int, ...] = ()


@dataclass(frozen=True)
class Found:
    """An outline on the scan, in master pixels. ``confidence`` is None where a person drew it."""

    part: int
    corners: Corners
    confidence: float | None
    note: str = ""


@dataclass(frozen=True)
class StagedCopy:
    """A finished copy that has no number yet."""

    use: Use
    part: int | None
    file: Path
    width: int
    height: int
    fidelity: Fidelity | None
    recipe: Recipe


@dataclass(frozen=True)
class Taken:
    """Everything :func:`take_in` made and measured; ``answered`` are the numbers on a contact sheet that came back.

    ``notes`` are about the copies and the measurements; ``at_arrival`` is what holds however copies are made again.
    ``back`` is the back, where it is the second page of the same file.
    """

    job: Job
    file: Path
    sha256: str
    size: int
    header: ScanHeader
    kind: Kind
    kind_confidence: float | None
    kind_from: str
    condition: Condition
    condition_picture: Path
    copies: tuple[StagedCopy, ...]
    outlines: tuple[Found, ...]
    offered: tuple[Proposal, ...]
    notes: tuple[str, ...]
    at_arrival: tuple[str, ...] = ()
    answered: tuple[str, ...] = ()
    back: Taken | None = None


@dataclass(frozen=True)
class Placed:
    """What :func:`put_in_place` left in the collection; ``made`` are the checksums of all files but the master."""

    master: Master
    copies: tuple[Copy, ...]
    made: tuple[FileRow, ...]
