"""What the patches of the 24-patch colour target should measure, and the published tolerances for a scanner."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import numpy.typing as npt

from surrogate.errors import WrongUse

Array = npt.NDArray[np.float64]

NAMES = (
    "dark skin", "light skin", "blue sky", "foliage", "blue flower", "bluish green",
    "orange", "purplish blue", "moderate red", "purple", "yellow green", "orange yellow",
    "blue", "green", "red", "yellow", "magenta", "cyan",
    "white 9.5", "neutral 8", "neutral 6.5", "neutral 5", "neutral 3.5", "black 2",
)  # fmt: skip

#: The neutral patches, as indices.
NEUTRALS = slice(18, 24)

#: CIELAB D50, 2 degrees, of both editions (colour-science/colour, BSD-3-Clause, chromaticity_coordinates.py; read).
EDITIONS: dict[str, tuple[tuple[float, float, float], ...]] = {
    "before-2014": (
        (37.986, 13.555, 14.059), (65.711, 18.13, 17.81), (49.927, -4.88, -21.905), (43.139, -13.095, 21.905),
        (55.112, 8.844, -25.399), (70.719, -33.397, -0.199), (62.661, 36.067, 57.096), (40.02, 10.41, -45.964),
        (51.124, 48.239, 16.248), (30.325, 22.976, -21.587), (72.532, -23.709, 57.255), (71.941, 19.363, 67.857),
        (28.778, 14.179, -50.297), (55.261, -38.342, 31.37), (42.101, 53.378, 28.19), (81.733, 4.039, 79.819),
        (51.935, 49.986, -14.574), (51.038, -28.631, -28.638), (96.539, -0.425, 1.186), (81.257, -0.638, -0.335),
        (66.766, -0.734, -0.504), (50.867, -0.153, -0.27), (35.656, -0.421, -1.231), (20.461, -0.079, -0.973),
    ),
    "after-2014": (
        (37.54, 14.37, 14.92), (64.66, 19.27, 17.50), (49.32, -3.82, -22.54), (43.46, -12.74, 22.72),
        (54.94, 9.61, -24.79), (70.48, -32.26, -0.37), (62.73, 35.83, 56.50), (39.43, 10.75, -45.17),
        (50.57, 48.64, 16.67), (30.10, 22.54, -20.87), (71.77, -24.13, 58.19), (71.51, 18.24, 67.37),
        (28.37, 15.42, -49.80), (54.38, -39.72, 32.27), (42.43, 51.05, 28.62), (81.80, 2.67, 80.41),
        (50.63, 51.28, -14.12), (49.57, -29.71, -28.32), (95.19, -1.03, 2.93), (81.29, -0.57, 0.44),
        (66.89, -0.75, -0.06), (50.76, -0.13, 0.14), (35.63, -0.46, -0.48), (20.64, 0.07, -0.46),
    ),
}  # fmt: skip

#: FADGI, Technical Guidelines, Sept 2016, prints and photographs, pp. 33-35: limits for 4, 3, 2 and 1 stars (read).
FADGI_2016: dict[str, tuple[float, float, float, float]] = {
    "oecf_delta_l": (2.0, 4.0, 6.0, 8.0),
    "white_balance": (2.0, 4.0, 6.0, 8.0),
    "delta_e_2000_mean": (2.0, 4.0, 6.0, 10.0),
    "noise_sd_l": (1.0, 2.0, 3.0, 4.0),
    "non_uniformity_percent": (1.0, 3.0, 5.0, 8.0),
}
#: Of these the table says "less than"; of the others "at most".
_STRICT = {"delta_e_2000_mean", "noise_sd_l", "non_uniformity_percent"}

#: ISO 19264-1:2021, reflective originals, levels A, B, C (second-hand, a published comparison table).
ISO_19264: dict[str, tuple[float, float, float]] = {
    "oecf_delta_l": (2.0, 3.0, 4.0),
    "white_balance": (3.0, 4.0, 5.0),
    "delta_e_2000_mean": (4.0, 5.0, 5.0),
    "delta_e_2000_max": (10.0, 15.0, 15.0),
    "noise_sd_l": (1.6, 2.0, 2.2),
}


def reference_values(edition: str, reference: Path | None) -> Array:
    """CIELAB (24, 3) of the target: of an edition, or measured on one's own card.

    ``reference`` is a CSV of ``name, L, a, b`` with 24 rows in the order of :data:`NAMES`. Raises :class:`WrongUse`.
    """
    if reference is None:
        if edition not in EDITIONS:
            raise WrongUse(f"The edition '{edition}' is not known. Use one of: {', '.join(EDITIONS)}.")
        return np.array(EDITIONS[edition])
    try:
        text = reference.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise WrongUse(
            f"The reference file {reference} cannot be read as text. Give a CSV of name, L, a, b."
        ) from error
    separator = ";" if ";" in text else "," if "," in text else "\t"
    rows = [_numbers(row) for row in csv.reader(text.splitlines(), delimiter=separator)]
    values = [row for row in rows if row is not None]
    if len(values) != len(NAMES):
        raise WrongUse(f"{reference} holds {len(values)} rows of L, a, b; the target has {len(NAMES)} patches.")
    return np.array(values)


def _numbers(row: list[str]) -> list[float] | None:
    """The last three cells of a row as numbers; None for a heading or an empty row."""
    try:
        return [float(cell.replace(",", ".")) for cell in row[-3:]] if len(row) >= 3 else None
    except ValueError:
        return None


def stars(figures: dict[str, float]) -> int:
    """FADGI 2016 stars, 0-4, of the worst of the figures that were measured."""
    level = 4
    for name, limits in FADGI_2016.items():
        if name in figures:
            value = figures[name]
            passed = [value < limit if name in _STRICT else value <= limit for limit in limits]
            level = min(level, 4 - passed.index(True) if True in passed else 0)
    return level


def iso_level(figures: dict[str, float]) -> str:
    """ISO 19264-1 level A, B or C of the worst figure, or ``none``."""
    worst = 0
    for name, limits in ISO_19264.items():
        if name in figures:
            passed = [figures[name] <= limit for limit in limits]
            worst = max(worst, passed.index(True) if True in passed else 3)
    return ("A", "B", "C", "none")[worst]
