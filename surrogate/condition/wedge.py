"""The grey step wedge: twenty even greys in a row, found in a scan and judged for tone, cast, noise and range."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt

from surrogate.condition.colorimetry import lab
from surrogate.errors import WrongUse
from surrogate.imaging.density import Floats

Array = npt.NDArray[np.float64]

#: Densities of the usual reflection wedge of 20 steps, 0.05 to 1.95 (from memory; give your own wedge's values).
STEPS = tuple(round(0.05 + 0.1 * step, 2) for step in range(20))

#: Edge strengths (density a pixel) that part steps, and the steps that must be seen as areas. Tried on rendered scans.
_EDGES, _FEWEST = (0.006, 0.012, 0.03), 12

#: A step is between these shares of the frame; no longer than this many times its width.
_SHARE, _LONGEST = (0.0003, 0.05), 5.0

#: Chroma (density between channels) above which an area is no grey, even in a scan with a cast; how straight, how even
#: the row is (shares of the step between two), and how well the densities must rise (correlation).
_COLOURED, _STRAIGHT, _EVEN, _RISING = 0.15, 0.12, 0.15, 0.995


@dataclass(frozen=True)
class Wedge:
    """Middles (N, 2) of the steps in pixels, from the lightest on, and half the side (px) measured of each."""

    centres: Array
    half_px: float


def find_wedge(density: Floats, steps: int = len(STEPS)) -> Wedge | None:
    """The wedge in densities (H, W, 3), any way round; None without one."""
    areas = _areas(density)
    for like in _alike(areas):
        found = _row(density, like, steps)
        if found is not None:
            return found
    return None


def _areas(density: Floats) -> Array:
    """Even grey rectangles: rows of x, y, short side, long side."""
    grey = cv2.GaussianBlur(density.mean(axis=2), (0, 0), 1.5)
    slope = np.hypot(cv2.Scharr(grey, cv2.CV_32F, 1, 0), cv2.Scharr(grey, cv2.CV_32F, 0, 1)) / 32
    found: list[tuple[float, float, float, float]] = []
    for edge in _EDGES:
        even = cv2.morphologyEx((slope < edge).astype(np.uint8), cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
        outlines, _ = cv2.findContours(even, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
        for outline in outlines:
            area = cv2.contourArea(outline)
            if not _SHARE[0] < area / grey.size < _SHARE[1]:
                continue
            (x, y), (one, other), _ = cv2.minAreaRect(outline)
            colour = density[int(y), int(x)] if 0 <= y < grey.shape[0] and 0 <= x < grey.shape[1] else np.array([0, 9])
            grown = [k for k in found if np.hypot(x - k[0], y - k[1]) < 0.4 * k[2]]
            square = max(one, other) < _LONGEST * min(one, other) and area > 0.8 * one * other
            if square and not grown and np.ptp(colour) < _COLOURED * (1 + colour.max()):
                found.append((x, y, min(one, other), max(one, other)))
    return np.array(found).reshape(-1, 4)


def _alike(areas: Array) -> list[Array]:
    """Groups of like size, the largest first."""
    groups = [
        areas[(np.abs(np.log(areas[:, 2:] / seed[2:])) < 0.25).all(axis=1)]
        for seed in areas
    ]  # fmt: skip
    return sorted((g for g in groups if len(g) >= _FEWEST), key=len, reverse=True)[:4]


def _row(density: Floats, areas: Array, steps: int) -> Wedge | None:
    """The steps of a straight, even row whose densities rise, filled up to all of them."""
    points = areas[:, :2]
    best = np.zeros(len(points), bool)
    for one in points:
        for other in points:
            along = other - one
            if (size := float(np.hypot(*along))) < 1:
                continue
            off = np.abs((points - one) @ np.array([-along[1], along[0]]) / size)
            near = off < _STRAIGHT * float(np.median(areas[:, 3]))
            best = near if near.sum() > best.sum() else best
    if best.sum() < _FEWEST:
        return None
    row = points[best]
    middle = row.mean(axis=0)
    way = np.linalg.svd(row - middle)[2][0]
    at = np.sort((row - middle) @ way)
    gap = float(np.median(np.diff(at)))
    index = np.rint((at - at[0]) / gap)
    gap, first = np.polyfit(index, at, 1)
    if np.abs(at - (first + gap * index)).max() > _EVEN * gap or index[-1] >= steps:
        return None
    half = 0.3 * min(gap, float(np.median(areas[best, 2])))
    spare = steps - 1 - int(index[-1])
    for before in range(spare + 1):  # steps that were not seen lie before or after those that were
        places = middle + (first + gap * (np.arange(steps) - before))[:, None] * way
        seen = _densities(density, places, half)
        if seen is None:
            continue
        order = np.argsort(seen) if seen[0] <= seen[-1] else np.argsort(-seen)
        rising = abs(float(np.corrcoef(np.arange(steps), seen)[0, 1]))
        if rising > _RISING and (order == np.arange(steps)).all() and np.abs(np.diff(seen)).min() > 0.01:
            return Wedge(places if seen[0] < seen[-1] else places[::-1], half)
    return None


def _densities(density: Floats, places: Array, half: float) -> npt.NDArray[np.float64] | None:
    """Median density at each place; None where one lies outside."""
    height, width = density.shape[:2]
    if (places < half).any() or (places[:, 0] >= width - half).any() or (places[:, 1] >= height - half).any():
        return None
    return np.array([float(np.median(_core(density, x, y, half))) for x, y in places])


def _core(density: Floats, x: float, y: float, half: float) -> Floats:
    left, top, side = round(x - half), round(y - half), max(3, round(2 * half))
    return density[top : top + side, left : left + side]


def judge_wedge(density: Floats, wedge: Wedge, truth: npt.NDArray[np.float64]) -> tuple[dict[str, float], Array]:
    """Figures of a wedge of densities ``truth`` (N,), and CIELAB (N, 3) of its steps.

    Tone, white balance and noise as of the colour target; ``density_range``: the darkest step that differs from its
    lighter neighbour by more than twice the noise of both.
    """
    cores = [_core(density, x, y, wedge.half_px).reshape(-1, 3) for x, y in wedge.centres]
    colours = lab(np.array([-np.log10(np.mean(10.0**-core, axis=0)) for core in cores]))
    noise = np.array([float(lab(core)[:, 0].std()) for core in cores])
    wanted = lab(np.repeat(truth[:, None], 3, axis=1))
    apart = -np.diff(colours[:, 0]) > 2 * np.hypot(noise[1:], noise[:-1]) / np.sqrt([len(core) for core in cores[1:]])
    last = int(np.argmin(apart)) if not apart.all() else len(apart)
    figures = {
        "oecf_delta_l": float(np.abs(colours[:, 0] - wanted[:, 0]).max()),
        "white_balance": float(np.hypot(colours[:, 1], colours[:, 2]).max()),
        "noise_sd_l": float(np.median(noise)),
        "density_range": float(truth[last] - truth[0]),
    }
    return figures, np.asarray(colours)


def wedge_values(reference: Path | None) -> npt.NDArray[np.float64]:
    """Densities of the steps, lightest first: the usual ones, or a CSV of ``name, D``. Raises :class:`WrongUse`."""
    if reference is None:
        return np.array(STEPS)
    try:
        rows = [row for row in csv.reader(reference.read_text(encoding="utf-8-sig").splitlines()) if row]
        values = [float(row[-1]) for row in rows if row[-1].strip().replace(".", "", 1).isdigit()]
    except (OSError, UnicodeDecodeError) as error:
        raise WrongUse(f"{reference} cannot be read as text. Give a CSV of name, D.") from error
    if len(values) < _FEWEST or (np.diff(values) <= 0).any():
        raise WrongUse(f"{reference} must hold the density of each step, lightest first, at least {_FEWEST}.")
    return np.array(values)
