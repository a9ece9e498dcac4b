"""Stains and damage composed over originals, each with its area, for the figures of the condition room.

Drawn with the simulator's fields and by other means than the family that the network was fitted on. A mark whose median
CIEDE2000 to the unmarked original is below 3 (seen only side by side) is drawn again stronger.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from scipy import ndimage
from skimage.color import deltaE_ciede2000, rgb2lab

from tests.simulate import lettering
from tests.simulate.fields import smooth, spots, tide
from tests.simulate.tone import density, encode_srgb, reflectance

Picture = NDArray[np.float32]
Area = NDArray[np.bool_]

AMBER = np.array([0.22, 0.58, 1.0], np.float32)
LIGNIN = np.array([0.16, 0.40, 1.0], np.float32)
IRON = np.array([0.18, 0.55, 1.0], np.float32)
RUST = np.array([0.30, 0.68, 1.0], np.float32)
LEAST_SEEN = 3.0


@dataclass(frozen=True)
class Truth:
    """One mark: its kind, where it is (h, w), and how much it changes colour (median CIEDE2000 inside)."""

    kind: str
    area: Area
    delta_e: float


def _visible(added: Picture) -> Area:
    most = np.abs(added).max(axis=2)
    return np.asarray(most > max(0.03, 0.25 * float(np.percentile(most, 99.9))))


def tape(rng: Generator, light: Picture, strength: float) -> tuple[Picture, Area]:
    """Yellowed strip with cut ends, 12 to 25 mm on a sheet of about 150 mm, along or across an edge."""
    shape = light.shape[:2]
    wide, long = rng.uniform(0.08, 0.16) * shape[1], rng.uniform(0.2, 1.3) * shape[1]
    centre = (float(rng.uniform(0, shape[1])), float(rng.uniform(0, shape[0])))
    box = cv2.boxPoints((centre, (long, wide), float(rng.choice([0, 90, rng.uniform(0, 180)]) + rng.normal(0, 3))))
    inside = np.zeros(shape, np.float32)
    cv2.fillConvexPoly(inside, np.round(box * 8).astype(np.int32), 1.0, cv2.LINE_AA, 3)
    patchy = np.clip(1 + 0.2 * smooth(rng, shape, 15) + 0.12 * smooth(rng, shape, 70), 0.4, 1.6)
    creep = cv2.GaussianBlur(inside, (0, 0), 5) * (1 - inside) * 0.5
    amount = strength * (cv2.GaussianBlur(inside, (0, 0), 0.8) + creep) * patchy
    return reflectance(density(light) + amount[..., None] * AMBER), inside > 0.5


def tideline(rng: Generator, light: Picture, strength: float) -> tuple[Picture, Area]:
    """Water from one side (simulator's field)."""
    shape = light.shape[:2]
    wet, line = tide(rng, shape, rng.uniform(0.1, 0.35) * min(shape), rng.uniform(2, 5))
    added = strength * (line + 0.15 * wet)[..., None] * LIGNIN
    return reflectance(density(light) + added), _visible(added)


def foxing(rng: Generator, light: Picture, strength: float) -> tuple[Picture, Area]:
    """Brown spots of 0.5 to 3 mm."""
    shape = light.shape[:2]
    field = spots(rng, shape, int(rng.integers(8, 50)), (2.5, 9.0))
    added = 1.3 * strength * field[..., None] * IRON
    return reflectance(density(light) + added), _visible(added)


def stripes(rng: Generator, light: Picture, strength: float) -> tuple[Picture, Area]:
    """Glue lines of a self-stick page."""
    shape = light.shape[:2]
    pitch, width = rng.uniform(0.03, 0.09) * shape[1], rng.uniform(0.004, 0.012) * shape[1]
    rows, columns = np.mgrid[0 : shape[0], 0 : shape[1]].astype(np.float32)
    along = columns if rng.random() < 0.5 else rows
    saw = np.abs((along + 2 * smooth(rng, shape, 150) + rng.uniform(0, pitch)) % pitch - pitch / 2)
    line = ndimage.gaussian_filter((saw < width).astype(np.float32), 1.5) * np.clip(
        1 + 0.25 * smooth(rng, shape, 40), 0, 2
    )
    added = strength * line[..., None] * AMBER
    return reflectance(density(light) + added), _visible(added)


def fold(rng: Generator, light: Picture, strength: float) -> tuple[Picture, Area]:
    """A crease right across: lighter broken ridge, shadow beside it, some dirt."""
    turned = rng.random() < 0.5
    sheet = np.rot90(light) if turned else light
    h, w = sheet.shape[:2]
    columns = np.arange(w, dtype=np.float32)
    wander = ndimage.gaussian_filter1d(rng.standard_normal(w), 70) * 10
    centre = rng.uniform(0.2, 0.8) * h + wander + rng.normal(0, 0.01) * (columns - w / 2)
    offset = np.arange(h, dtype=np.float32)[:, None] - centre[None]
    broken = np.clip(1 + 2 * ndimage.gaussian_filter1d(rng.standard_normal(w), 8), 0.3, 1.8)[None]
    factor = 1 - 0.9 * strength * np.exp(-(((offset - 3) / 2.2) ** 2)) - 0.2 * strength * np.exp(-np.abs(offset) / 10)
    out = sheet * factor[..., None]
    ridge = np.clip(2.2 * strength * np.exp(-((offset / 1.6) ** 2)) * broken, 0, 1)[..., None]
    out = out + ridge * (0.8 - out)
    area = np.abs(offset - 1) < 4.5
    if turned:
        out, area = np.rot90(out, -1), np.rot90(area, -1)
    return np.ascontiguousarray(out, np.float32), np.ascontiguousarray(area)


def _walk(rng: Generator, shape: tuple[int, ...], steps: int, step: float) -> NDArray[np.int32]:
    side = int(rng.integers(4))
    place = rng.uniform(0.1, 0.9)
    at = np.array(
        ((place * shape[1], 0), (shape[1], place * shape[0]), (place * shape[1], shape[0]), (0, place * shape[0]))[side]
    )
    heading = (np.pi / 2, np.pi, -np.pi / 2, 0)[side] + rng.normal(0, 0.3)
    points = [at]
    for _ in range(steps):
        heading += rng.normal(0, 0.15)
        angle = heading + rng.uniform(-0.6, 0.6)
        points.append(points[-1] + step * np.array([np.cos(angle), np.sin(angle)]))
    return np.round(np.array(points)).astype(np.int32)


def tear(rng: Generator, light: Picture, strength: float) -> tuple[Picture, Area]:
    """A ragged tear from an edge: bare fibres and a dark gap."""
    del strength
    shape = light.shape[:2]
    points = _walk(rng, shape, int(rng.integers(12, 40)), 7.0)
    fibre, gap = np.zeros(shape, np.uint8), np.zeros(shape, np.uint8)
    cv2.polylines(fibre, [points], False, 255, int(rng.integers(4, 8)), cv2.LINE_AA)
    cv2.polylines(gap, [points + 1], False, 255, int(rng.integers(1, 3)), cv2.LINE_AA)
    white, dark = fibre[..., None] / np.float32(255), gap[..., None] / np.float32(255)
    out = light + white * 0.9 * (0.82 - light)
    return np.asarray(out + dark * 0.8 * (0.08 - out), np.float32), (fibre > 127) | (gap > 127)


def loss(rng: Generator, light: Picture, strength: float) -> tuple[Picture, Area]:
    """A corner or a bite of the edge that is gone, the lid or a black card behind."""
    del strength
    shape = light.shape[:2]
    rows, columns = np.mgrid[0 : shape[0], 0 : shape[1]].astype(np.float32)
    size = rng.uniform(0.06, 0.18) * min(shape)
    y, x = rng.choice([0, shape[0]]), rng.choice([0, shape[1]])
    if rng.random() < 0.5:
        x = rng.uniform(0.1, 0.9) * shape[1]
    near = (
        np.abs(rows - y)
        + np.abs(columns - x)
        + 0.12 * size * smooth(rng, shape, 9)
        + 0.2 * size * smooth(rng, shape, 40)
    )
    gone = np.clip(size - near, 0, 1)[..., None]
    rim = np.clip(size + rng.uniform(2, 5) - near, 0, 1)[..., None]
    ground = np.float32(rng.choice([0.03, 0.84]))
    out = light + rim * 0.8 * (0.78 - light)
    return np.asarray(out + gone * (ground - out), np.float32), gone[..., 0] > 0.5


def show_through(rng: Generator, light: Picture, strength: float) -> tuple[Picture, Area]:
    """Pen writing of the back, mirrored and soft."""
    shape = light.shape[:2]
    em = rng.uniform(0.035, 0.06) * shape[1]
    lines = int(rng.integers(2, 6))
    top, left = rng.uniform(0.08, 0.4) * shape[0], rng.uniform(0.05, 0.3) * shape[1]
    texts = (
        "Aunt Oda and Pell at the mill",
        "before the flood, about 1931",
        "given to Wren by her mother",
        "Tarn lake",
    )
    rows = [(left, top + n * 1.5 * em, texts[n % 4]) for n in range(lines)]
    ink = lettering.hand(rng, shape, lettering.PEN, em, rows)[:, ::-1]
    soft = cv2.GaussianBlur(np.ascontiguousarray(ink), (0, 0), 1.8)
    soft = soft / max(float(soft.max()), 0.2)
    added = 0.9 * strength * soft[..., None] * np.array([1.0, 0.85, 0.6], np.float32)
    strokes = (np.abs(added).max(2) > 0.03).astype(np.uint8)
    block = cv2.morphologyEx(strokes, cv2.MORPH_CLOSE, np.ones((int(em), int(em)), np.uint8))
    return reflectance(density(light) + added), block > 0


def rust(rng: Generator, light: Picture, strength: float) -> tuple[Picture, Area]:
    """The ghost of a paper clip on an edge, or of a pin."""
    shape = light.shape[:2]
    plane = np.zeros(shape, np.float32)
    x, y, unit = rng.uniform(0.1, 0.9) * shape[1], rng.choice([0.0, 1.0]) * shape[0], 0.045 * shape[1]
    if rng.random() < 0.6:
        for part in (1.0, 0.65):
            axes = (max(2, int(0.22 * unit * part * 2)), max(3, int(unit * part * 1.4)))
            cv2.ellipse(
                plane,
                (int(x), int(y)),
                axes,
                float(rng.normal(0, 8)),
                0,
                360,
                1.0,
                int(rng.integers(2, 5)),
                cv2.LINE_AA,
            )
    else:
        y = rng.uniform(0.1, 0.9) * shape[0]
        cv2.circle(plane, (int(x), int(y)), int(rng.integers(4, 14)), 1.0, -1, cv2.LINE_AA)
    amount = plane * np.clip(1 + 0.4 * smooth(rng, shape, 5), 0.2, 1.8) + 0.5 * cv2.GaussianBlur(plane, (0, 0), 5)
    added = 2.2 * strength * amount[..., None] * RUST
    return reflectance(density(light) + added), _visible(added)


def mould(rng: Generator, light: Picture, strength: float) -> tuple[Picture, Area]:
    """A colony: dark dots that crowd towards the middle, over a faint veil."""
    shape = light.shape[:2]
    field = np.zeros(shape, np.float32)
    middle, reach = rng.uniform(0.15, 0.85, 2) * np.array(shape), rng.uniform(0.06, 0.16) * shape[1]
    for y, x in middle + rng.standard_t(4, (int(rng.integers(60, 200)), 2)) * reach * 0.5:
        cv2.circle(field, (int(x), int(y)), int(rng.integers(1, 5)), float(rng.uniform(0.4, 1.0)), -1, cv2.LINE_AA)
    field = cv2.GaussianBlur(field, (0, 0), 1.0)
    veil = cv2.GaussianBlur(field, (0, 0), 0.25 * reach)
    added = (1.6 * strength * field + 0.2 * strength * veil)[..., None] * np.array([0.95, 0.9, 1.0], np.float32)
    dots = (field > 0.3).astype(np.uint8)
    gap = int(max(7, reach / 4))
    return reflectance(density(light) + added), cv2.morphologyEx(
        dots, cv2.MORPH_CLOSE, np.ones((gap, gap), np.uint8)
    ) > 0


MAKERS = {
    "tape": tape, "tideline": tideline, "foxing": foxing, "adhesive stripes": stripes, "fold": fold, "tear": tear,
    "loss": loss, "show-through ink": show_through, "rust": rust, "suspected mould": mould,
}  # fmt: skip


def laid(rng: Generator, light: Picture, kinds: list[str]) -> tuple[Picture, list[Truth]]:
    """The original with those marks, one after another, and the truth about each."""
    truths: list[Truth] = []
    for kind in kinds:
        before = rgb2lab(encode_srgb(light))
        for strength in (rng.uniform(0.12, 0.3), 0.35, 0.5):
            seed = int(rng.integers(2**31))
            after, area = MAKERS[kind](np.random.default_rng(seed), light, float(strength))
            inside = (
                deltaE_ciede2000(before[area], rgb2lab(encode_srgb(after[area][None]))[0])
                if area.any()
                else np.zeros(1)
            )
            shown = float(np.percentile(inside, 75 if kind in ("show-through ink", "suspected mould") else 50))
            if shown >= LEAST_SEEN and area.sum() > 60:
                light = after
                truths.append(Truth(kind, area, shown))
                break
    return light, truths
