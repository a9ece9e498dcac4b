"""Sizes as people write them: ``8x10in``, ``20 x 25 cm``, ``203x254mm``, ``a4``; and as they read them."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from surrogate.errors import WrongUse
from surrogate.imaging.read import MM_PER_INCH

Unit = Literal["in", "mm"]

#: Names of papers and frames, portrait, mm. ISO 216:2007 for A0 to A6; the North American sizes are defined in inches
#: (common practice; letter and legal also in ANSI X3.151, from memory).
NAMED_MM: dict[str, tuple[float, float, Unit]] = {
    "a0": (841.0, 1189.0, "mm"),
    "a1": (594.0, 841.0, "mm"),
    "a2": (420.0, 594.0, "mm"),
    "a3": (297.0, 420.0, "mm"),
    "a4": (210.0, 297.0, "mm"),
    "a5": (148.0, 210.0, "mm"),
    "a6": (105.0, 148.0, "mm"),
    "letter": (8.5 * MM_PER_INCH, 11 * MM_PER_INCH, "in"),
    "legal": (8.5 * MM_PER_INCH, 14 * MM_PER_INCH, "in"),
    "tabloid": (11 * MM_PER_INCH, 17 * MM_PER_INCH, "in"),
    # sizes of old photographs and so of the frames made for them (from memory; makers varied by a few mm)
    "wallet": (2.5 * MM_PER_INCH, 3.5 * MM_PER_INCH, "in"),
    "carte-de-visite": (64.0, 100.0, "mm"),
    "quarter-plate": (3.25 * MM_PER_INCH, 4.25 * MM_PER_INCH, "in"),
    "half-plate": (4.25 * MM_PER_INCH, 5.5 * MM_PER_INCH, "in"),
    "postcard": (3.5 * MM_PER_INCH, 5.5 * MM_PER_INCH, "in"),
    "stereo": (3.5 * MM_PER_INCH, 7 * MM_PER_INCH, "in"),
    "cabinet": (4.25 * MM_PER_INCH, 6.5 * MM_PER_INCH, "in"),
    "whole-plate": (6.5 * MM_PER_INCH, 8.5 * MM_PER_INCH, "in"),
}

_UNITS: dict[str, float] = {
    "in": MM_PER_INCH,
    "inch": MM_PER_INCH,
    "inches": MM_PER_INCH,
    '"': MM_PER_INCH,
    "″": MM_PER_INCH,
    "mm": 1.0,
    "cm": 10.0,
}

#: Nothing that is framed is smaller than a miniature or larger than a door (mm).
SMALLEST_MM = 10.0
LARGEST_MM = 3000.0

_NUMBER = r"(\d+(?:[.,]\d+)?(?:[ -]?\d+/\d+|[½¼¾⅛⅜⅝⅞])?|\d+/\d+|[½¼¾⅛⅜⅝⅞])"
_UNIT = r"(in|inch|inches|\"|″|mm|cm)?"
_SIZE = re.compile(rf"\s*{_NUMBER}\s*{_UNIT}\s*[x×X*]\s*{_NUMBER}\s*{_UNIT}\s*", re.IGNORECASE)
_VULGAR = {"½": 0.5, "¼": 0.25, "¾": 0.75, "⅛": 0.125, "⅜": 0.375, "⅝": 0.625, "⅞": 0.875}


@dataclass(frozen=True)
class Size:
    """Width and height in mm, with the unit it was given in (``cm`` counts as mm)."""

    width_mm: float
    height_mm: float
    unit: Unit

    def turned_like(self, width: float, height: float) -> Size:
        """This size, turned to stand (or lie) as a picture of ``width`` by ``height`` does; squares stay."""
        if (width > height and self.width_mm < self.height_mm) or (width < height and self.width_mm > self.height_mm):
            return Size(self.height_mm, self.width_mm, self.unit)
        return self


def parse_size(text: str, what: str = "size") -> Size:
    """Read a size. Raises :class:`WrongUse` with examples when it cannot be understood.

    ``what`` names the size in the message ("frame", "opening", "paper").
    """
    name = "-".join(text.lower().split())
    if name in NAMED_MM:
        return Size(*NAMED_MM[name])
    match = _SIZE.fullmatch(text)
    if match and not (match[4] or match[2]):
        bare = "".join(text.split())
        raise WrongUse(f"The {what} '{text}' has no unit. Write {bare}in for inches, {bare}cm or {bare}mm.")
    if not match:
        raise WrongUse(
            f"The {what} '{text}' was not understood. Write width x height with a unit, such as 8x10in, 203x254mm or "
            f"20x25cm, or a name: {', '.join(NAMED_MM)}."
        )
    unit = match[4] or match[2]
    first, second = (match[2] or unit).lower(), unit.lower()
    width, height = _number(match[1]) * _UNITS[first], _number(match[3]) * _UNITS[second]
    if not all(SMALLEST_MM <= side <= LARGEST_MM for side in (width, height)):
        raise WrongUse(f"The {what} '{text}' is {width:.0f} x {height:.0f} mm: sides are 10 mm to 3 m. Check the unit.")
    return Size(width, height, "in" if _UNITS[second] == MM_PER_INCH else "mm")


def _number(text: str) -> float:
    """``7``, ``7.5``, ``7,5``, ``7 1/2``, ``7-1/2``, ``7½``."""
    total = 0.0
    for part in re.findall(r"\d+/\d+|\d+(?:[.,]\d+)?|[½¼¾⅛⅜⅝⅞]", text):
        if part in _VULGAR:
            total += _VULGAR[part]
        elif "/" in part:
            above, below = part.split("/")
            total += int(above) / int(below) if int(below) else math.nan
        else:
            total += float(part.replace(",", "."))
    return total


def in_mm(mm: float) -> str:
    """``190.5 mm``; whole millimetres without the point."""
    tenths = math.floor(10 * mm + 0.5 + 1e-6)
    return f"{tenths / 10:.1f}".removesuffix(".0") + " mm"


def in_inches(mm: float) -> str:
    """``7 1/2 in``, to the nearest sixteenth, as a ruler in inches is read."""
    sixteenths = Fraction(round(mm / MM_PER_INCH * 16), 16)
    whole, part = divmod(sixteenths, 1)
    if not part:
        return f"{whole} in"
    return f"{whole} {part} in" if whole else f"{part} in"


def both(mm: float) -> str:
    """``190.5 mm (7 1/2 in)``."""
    return f"{in_mm(mm)} ({in_inches(mm)})"


def both_sides(width_mm: float, height_mm: float) -> str:
    """``190.5 × 241.3 mm (7 1/2 × 9 1/2 in)``."""
    mm = f"{in_mm(width_mm).removesuffix(' mm')} × {in_mm(height_mm)}"
    return f"{mm} ({in_inches(width_mm).removesuffix(' in')} × {in_inches(height_mm)})"
