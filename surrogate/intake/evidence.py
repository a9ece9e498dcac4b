"""What speaks for two scans being the two sides of one original: the records of pairing and the weight of looks."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from posixpath import splitext

#: A pair below this confidence is not made. Wrong pairs cost more than missed ones, which people see and mend.
PAIRED = 0.75

#: Sides of one sheet, measured twice, differ by no more than this; sheets that differ by more than the second are two.
SAME_SIZE, OTHER_SIZE = 0.03, 0.08


@dataclass(frozen=True)
class Look:
    """What pairing needs to know of one scan.

    ``size`` is width and height of the original in one unit throughout, None where it could not be seen; ``frame``
    says that it is the size of the whole scan. ``back`` is how much it looks like the back of something, 0 to 1
    (:func:`surrogate.intake.looks.back_likeness`); ``parts`` is how many originals the scan shows side by side.
    """

    name: str
    size: tuple[float, float] | None
    back: float
    frame: bool = False
    parts: int = 1


@dataclass(frozen=True)
class Group:
    """The scans of one original. ``verso`` alone is a back whose front was not found."""

    recto: str | None
    verso: str | None
    why: str
    confidence: float


def natural_key(name: str) -> tuple[tuple[tuple[int, int, str], ...], ...]:
    """Sort key that puts scan9 before scan10, and scan9 before scan9 (1) whatever their suffixes."""
    return tuple(
        tuple((0, int(part), part) if part.isdecimal() else (1, 0, part) for part in re.findall(r"\d+|\D+", text))
        for text in splitext(name.casefold())
    )


def in_order(groups: Iterable[Group]) -> list[Group]:
    """Groups by the name of their first side."""
    return sorted(groups, key=lambda group: natural_key(group.recto or group.verso or ""))


def back_odds(look: Look) -> float:
    """Log odds that this is a back. Held within 3, since backs with pictures exist: postcards, reused paper."""
    likeness = min(max(look.back, 0.05), 0.95)
    return math.log(likeness / (1 - likeness))


def size_odds(one: Look, other: Look) -> float:
    """Log odds from the sizes: two sides of one sheet measure the same, either way round; 0 where one is unknown."""
    difference = size_difference(one, other)
    if difference is None:
        return 0.0
    if difference <= SAME_SIZE:
        return 1.0
    return -0.5 if difference <= OTHER_SIZE else -3.0


def size_difference(one: Look, other: Look) -> float | None:
    """Largest relative difference of two sizes' sides, turned by 90° if that fits better; 0 = the same."""
    if one.size is None or other.size is None:
        return None
    size = one.size
    return min(
        max(abs(math.log(max(a, 1e-9) / max(b, 1e-9))) for a, b in zip(size, turned, strict=True))
        for turned in (other.size, other.size[::-1])
    )


def in_words(front: Look, back: Look) -> str:
    """What the two looks say, for people."""
    likeness = "looks like a back" if back.back >= 0.5 else "does not look like a back"
    difference = size_difference(front, back)
    if difference is None:
        return likeness
    size = "same size" if difference <= SAME_SIZE else f"sizes differ by {difference:.0%}"
    return f"{likeness}, {size}"
