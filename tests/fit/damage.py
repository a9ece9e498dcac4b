"""Marks laid on clean originals for fitting, each with the area where it can be seen.

A mark is drawn as density added and belongs to a class. What changes density by less than ``VISIBLE`` is not
labelled: nobody could outline it. A family kept apart from the one that judges.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from PIL import Image, ImageDraw
from scipy import ndimage
from sheets import Array, Material, Size, brown, handwriting, resized, smooth, text_block, triple

Labels = NDArray[np.uint8]

CLASSES = (
    "none", "tape", "tideline", "foxing", "adhesive stripes", "fold", "tear", "loss", "show-through ink", "rust",
    "suspected mould",
)  # fmt: skip
VISIBLE = 0.025
_SHARE_OF_PEAK = 0.25


def _seen(added: Array) -> NDArray[np.bool_]:
    """Where added density shows: above what is visible and above a quarter of its peak."""
    most = np.abs(added).max(axis=2)
    peak = float(np.percentile(most[most > VISIBLE], 90)) if (most > VISIBLE).any() else 1.0
    return np.asarray(most > max(VISIBLE, _SHARE_OF_PEAK * peak))


def _polygon(size: Size, points: Array, over: int = 2) -> Array:
    page = Image.new("L", (size[1] * over, size[0] * over), 0)
    ImageDraw.Draw(page).polygon([(float(x) * over, float(y) * over) for x, y in points], fill=255)
    return np.asarray(page.resize((size[1], size[0]), Image.Resampling.BOX), np.float32) / 255.0


def _polyline(size: Size, points: Array, width: float, over: int = 2) -> Array:
    page = Image.new("L", (size[1] * over, size[0] * over), 0)
    ImageDraw.Draw(page).line(
        [(float(x) * over, float(y) * over) for x, y in points],
        fill=255,
        width=max(1, round(width * over)),
        joint="curve",
    )
    return np.asarray(page.resize((size[1], size[0]), Image.Resampling.BOX), np.float32) / 255.0


def _blur(plane: Array, sigma: float) -> Array:
    return np.asarray(ndimage.gaussian_filter(plane, sigma, truncate=3), np.float32)


def _patchy(rng: Generator, size: Size, fine: float, coarse: float) -> Array:
    field = 1 + fine * smooth(rng, size, rng.uniform(6, 25)) + coarse * smooth(rng, size, rng.uniform(40, 150))
    return np.asarray(np.clip(field, 0.15, 2.2), np.float32)


def tape(rng: Generator, density: Array, material: Material) -> tuple[Array, NDArray[np.bool_]]:
    """A strip of clear or brown tape, fresh or aged, or what it left; any angle, ends torn or cut."""
    del material
    size = density.shape[:2]
    width = rng.uniform(0.03, 0.16) * size[0]
    length = rng.uniform(1.5, 9) * width if rng.random() < 0.6 else 2.0 * max(size)
    angle = rng.choice([0, 90, rng.uniform(0, 180)], p=[0.4, 0.35, 0.25]) + rng.normal(0, 2.5)
    along = np.array([np.cos(np.deg2rad(angle)), np.sin(np.deg2rad(angle))])
    across = np.array([-along[1], along[0]])
    if rng.random() < 0.5:  # tapes sit at edges and corners
        centre = np.array(
            [rng.choice([0.03, 0.97, rng.random()]) * size[1], rng.choice([0.03, 0.97, rng.random()]) * size[0]]
        )
    else:
        centre = np.array([rng.uniform(0.1, 0.9) * size[1], rng.uniform(0.1, 0.9) * size[0]])
    steps = int(rng.integers(2, 12))
    ragged = rng.uniform(0, 0.12) * width
    sides = np.linspace(-0.5, 0.5, steps)
    start = [centre - along * (length / 2 + rng.normal(0, ragged)) + across * width * s for s in sides]
    end = [centre + along * (length / 2 + rng.normal(0, ragged)) + across * width * s for s in sides[::-1]]
    inside = _polygon(size, np.array(start + end, np.float32))
    soft = _blur(inside, rng.uniform(0.3, 0.8) if rng.random() < 0.75 else rng.uniform(1.5, 4))
    edge = np.clip(_blur(inside, rng.uniform(2, 8)) - 0.0, 0, 1)
    rim = 4 * edge * (1 - edge)
    profile = soft * (1 + rng.uniform(-0.4, 1.0) * rim) + (1 - soft) * rim * rng.uniform(0, 0.4)
    strength = np.exp(rng.uniform(np.log(0.06), np.log(0.6)))
    added = (profile * _patchy(rng, size, rng.uniform(0, 0.25), rng.uniform(0, 0.3)) * strength)[..., None] * brown(rng)
    if rng.random() < 0.4:  # a film over the picture scatters: darks lighten, detail softens
        haze = (soft * rng.uniform(0.01, 0.06))[..., None]
        added = added - np.log10(1 + haze * 10 ** np.clip(density, 0, 2))
    if rng.random() < 0.3:  # edges that shine or throw a shadow
        added = added + ((_blur(inside, 0.6) - inside) * rng.uniform(-0.3, 0.3))[..., None]
    return np.asarray(added, np.float32), np.asarray((inside > 0.5) & (np.abs(added).max(2) > 0.6 * VISIBLE)) | _seen(
        added
    )


def tideline(rng: Generator, density: Array, material: Material) -> tuple[Array, NDArray[np.bool_]]:
    """Water from a side or a drop: a line sharp outside, trailing off inside, the wet part tinted or washed."""
    del material
    size = density.shape[:2]
    rows, columns = np.mgrid[0 : size[0], 0 : size[1]].astype(np.float32)
    reach = rng.uniform(0.08, 0.5) * size[0]
    wobble = rng.uniform(0.1, 0.5)
    if rng.random() < 0.65:
        side = int(rng.integers(5))
        corner = np.hypot(rows - rng.choice([0, size[0]]), columns - rng.choice([0, size[1]]))
        inward = (rows, size[1] - 1 - columns, size[0] - 1 - rows, columns, corner)[side]
    else:
        cy, cx = rng.uniform(0, size[0]), rng.uniform(0, size[1])
        inward = np.hypot((rows - cy) * rng.uniform(0.6, 1.6), columns - cx)
        reach = rng.uniform(0.05, 0.35) * size[0]
    front = reach * (1 + wobble * smooth(rng, size, max(12, reach * rng.uniform(0.6, 2)))) - inward
    front = front + rng.uniform(0, 2) * smooth(rng, size, 5)
    width = rng.uniform(0.7, 4)
    outside = np.exp(-np.square(np.minimum(front, 0) / width))
    inside = np.exp(-np.maximum(front, 0) / (width * rng.uniform(2, 12)))
    line = outside * inside * np.clip(1 + 0.35 * smooth(rng, size, 50), 0.2, 2)
    wet = 1 / (1 + np.exp(-np.clip(front / width, -30, 30)))
    strength = np.exp(rng.uniform(np.log(0.06), np.log(0.45)))
    added = (strength * line)[..., None] * brown(rng)
    added = added + (strength * rng.uniform(-0.3, 0.5) * wet)[..., None] * brown(rng)
    return np.asarray(added, np.float32), _seen(np.asarray(added))


def foxing(rng: Generator, density: Array, material: Material) -> tuple[Array, NDArray[np.bool_]]:
    """Brown spots, one patch or all over."""
    del material
    size = density.shape[:2]
    field = np.zeros(size, np.float32)
    count = int(np.exp(rng.uniform(np.log(3), np.log(90))))
    spread = rng.uniform(0.08, 0.8)
    centre = rng.uniform(0, 1, 2)
    radius = np.exp(rng.uniform(np.log(1.2), np.log(6)))
    for _ in range(count):
        y, x = (centre + spread * rng.normal(0, 0.5, 2)) * size
        r = min(radius * np.exp(rng.normal(0, 0.35)), 12.0)
        top, left, bottom, right = (int(v) for v in (y - 3 * r, x - 3 * r, y + 3 * r + 2, x + 3 * r + 2))
        top, left, bottom, right = max(top, 0), max(left, 0), min(bottom, size[0]), min(right, size[1])
        if top >= bottom or left >= right:
            continue
        dy, dx = np.mgrid[top:bottom, left:right].astype(np.float32)
        squared = ((dy - y) ** 2 + ((dx - x) * rng.uniform(0.75, 1.33)) ** 2) / (r * r)
        shape = np.exp(-(squared ** rng.uniform(0.8, 2.0)) / 1.2) * rng.uniform(0.4, 1.0)
        field[top:bottom, left:right] = np.maximum(field[top:bottom, left:right], shape)
    added = (field * np.exp(rng.uniform(np.log(0.1), np.log(0.5))))[..., None] * brown(rng)
    return np.asarray(added, np.float32), _seen(np.asarray(added))


def stripes(rng: Generator, density: Array, material: Material) -> tuple[Array, NDArray[np.bool_]]:
    """Lines of glue of a self-stick page, evenly spaced right across the print."""
    del material
    size = density.shape[:2]
    upright = rng.random() < 0.5
    rows, columns = np.mgrid[0 : size[0], 0 : size[1]].astype(np.float32)
    across = columns if upright else rows
    along = rows if upright else columns
    pitch = np.exp(rng.uniform(np.log(9), np.log(80)))
    position = across + along * rng.normal(0, 0.012) + rng.uniform(0, 1.5) * smooth(rng, size, 120)
    phase = ((position / pitch + rng.random()) % 1.0 - 0.5) * pitch
    width = pitch * rng.uniform(0.08, 0.3)
    flat = rng.uniform(1, 3)
    line = np.exp(-(np.abs(phase / max(width, 1.2)) ** (2 * flat)))
    amount = np.clip(1 + rng.uniform(0.05, 0.4) * smooth(rng, size, rng.uniform(20, 100)), 0, 2)
    strength = np.exp(rng.uniform(np.log(0.05), np.log(0.35)))
    added = (line * amount * strength)[..., None] * brown(rng)
    return np.asarray(added, np.float32), _seen(np.asarray(added))


def fold(rng: Generator, density: Array, material: Material) -> tuple[Array, NDArray[np.bool_]]:
    """A crease from edge to edge or across a corner: broken image layer, shadow beside it, dirt."""
    del material
    size = density.shape[:2]
    style = rng.random()
    if style < 0.4:
        ends = np.array([[0, rng.uniform(0.15, 0.85) * size[0]], [size[1], 0]])
        ends[1, 1] = ends[0, 1] + rng.normal(0, 0.02) * size[0]
    elif style < 0.75:
        ends = np.array([[rng.uniform(0.15, 0.85) * size[1], 0], [0, size[0]]])
        ends[1, 0] = ends[0, 0] + rng.normal(0, 0.02) * size[1]
    else:
        a, b = rng.uniform(0.06, 0.6, 2)
        fx, fy = rng.random() < 0.5, rng.random() < 0.5
        ends = np.array([[a * size[1], 0], [0, b * size[0]]])
        ends[:, 0] = size[1] - ends[:, 0] if fx else ends[:, 0]
        ends[:, 1] = size[0] - ends[:, 1] if fy else ends[:, 1]
    t = np.linspace(0, 1, 40)
    points = ends[0] + (ends[1] - ends[0]) * t[:, None]
    normal = np.array([-(ends[1] - ends[0])[1], (ends[1] - ends[0])[0]])
    normal = normal / (np.hypot(*normal) + 1e-6)
    wander = ndimage.gaussian_filter1d(rng.standard_normal(40), 5) * rng.uniform(0, 4)
    points = points + wander[:, None] * normal
    width = rng.uniform(0.8, 2.6)
    core = _polyline(size, points, width)
    shifted = _polyline(size, points + normal * width * rng.uniform(0.8, 2), width * rng.uniform(1, 3))
    broken = np.clip(rng.uniform(0.6, 1.4) + 0.5 * smooth(rng, size, rng.uniform(4, 20)), 0.15, 1.6)
    light = rng.uniform(-0.35, 0.9) if rng.random() < 0.7 else rng.uniform(-0.6, -0.15)
    fresh = _blur(core, 0.5) * broken
    paper = rng.uniform(0.05, 0.25)
    opened = np.clip(fresh * max(light, 0), 0, 1)[..., None]
    added = (
        opened * (paper - density)
        + (fresh * max(-light, 0) * 0.6 + _blur(shifted, 1.0) * rng.uniform(0, 0.15))[..., None]
    )
    added = added + (_blur(core, rng.uniform(3, 9)) * rng.uniform(0, 0.12))[..., None] * brown(rng)
    area = (_blur(core, 0.7) > 0.18) | (np.abs(added).max(2) > 0.08) & (_blur(core, 4) > 0.05)
    visible = float(np.abs(added).max(2)[core > 0.5].mean()) if (core > 0.5).any() else 0.0
    if visible < 0.05:
        added = added - (fresh * 0.12)[..., None]
    return np.asarray(added, np.float32), np.asarray(area)


def _jagged(rng: Generator, start: Array, heading: float, length: float, roughness: float) -> Array:
    points, where, angle = [np.asarray(start, float)], np.asarray(start, float), heading
    step = 4.0
    for _ in range(max(3, int(length / step))):
        angle = heading + rng.normal(0, roughness)
        heading += rng.normal(0, 0.12)
        where = where + step * np.array([np.cos(angle), np.sin(angle)])
        points.append(where)
    return np.array(points, np.float32)


def _from_edge(rng: Generator, size: Size) -> tuple[Array, float]:
    side = int(rng.integers(4))
    place = rng.uniform(0.05, 0.95)
    start = ((place * size[1], 0), (size[1], place * size[0]), (place * size[1], size[0]), (0, place * size[0]))[side]
    heading = (np.pi / 2, np.pi, -np.pi / 2, 0)[side] + rng.normal(0, 0.4)
    return np.array(start, np.float32), float(heading)


def tear(rng: Generator, density: Array, material: Material) -> tuple[Array, NDArray[np.bool_]]:
    """A jagged line from an edge inwards: torn fibres, light or dirty, sometimes gaping over the ground."""
    del material
    size = density.shape[:2]
    start, heading = _from_edge(rng, size)
    points = _jagged(rng, start, heading, rng.uniform(0.06, 0.5) * size[0], rng.uniform(0.2, 0.6))
    width = rng.uniform(1.0, 3.5)
    core = _polyline(size, points, width)
    fibre = _polyline(
        size, points + rng.uniform(-1.5, 1.5, 2).astype(np.float32) * width * 0.6, width * rng.uniform(1.3, 3)
    )
    paper = np.asarray(rng.uniform(0.04, 0.2) + np.zeros(3), np.float32)
    ground = np.asarray(rng.choice([0.08, 1.3, 0.5], p=[0.4, 0.4, 0.2]) + np.zeros(3), np.float32)
    out = density + (_blur(fibre, 0.5) * rng.uniform(0.5, 1.0))[..., None] * (paper - density)
    out = out + (_blur(core, 0.5) * rng.uniform(0.3, 1.0))[..., None] * (ground - out)
    added = out - density
    area = (fibre > 0.4) | (core > 0.4)
    return np.asarray(added, np.float32), np.asarray(area)


def loss(rng: Generator, density: Array, material: Material) -> tuple[Array, NDArray[np.bool_]]:
    """A corner, a piece of an edge or a hole that is gone: the ground shows, with a rim of torn paper."""
    del material
    size = density.shape[:2]
    rows, columns = np.mgrid[0 : size[0], 0 : size[1]].astype(np.float32)
    reach = rng.uniform(0.03, 0.2) * size[0]
    style = rng.random()
    if style < 0.5:
        y, x = (rng.choice([0, size[0] - 1]), rng.choice([0, size[1] - 1]))
        near = np.abs(rows - y) + np.abs(columns - x) * rng.uniform(0.5, 2)
    elif style < 0.85:
        (x, y), _ = _from_edge(rng, size)
        near = np.hypot((rows - y) * rng.uniform(0.6, 1.8), columns - x)
    else:
        y, x = rng.uniform(0.1, 0.9) * size[0], rng.uniform(0.1, 0.9) * size[1]
        near = np.hypot((rows - y) * rng.uniform(0.6, 1.6), columns - x)
        reach *= rng.uniform(0.15, 0.6)
    rough = 1 + rng.uniform(0.05, 0.3) * smooth(rng, size, max(8, reach)) + rng.uniform(0, 0.08) * smooth(rng, size, 5)
    gone = np.clip(reach * rough - near + 0.5, 0, 1)
    rim = np.clip(reach * rough + rng.uniform(1.0, 4) - near + 0.5, 0, 1)
    grounds = ((0.06, 0.06, 0.07), (1.3, 1.32, 1.35), (2.2, 2.2, 2.2), (0.2, 0.26, 0.4))
    ground = np.array(grounds[int(rng.integers(4))], np.float32) + np.float32(0.005) * smooth(rng, size, 3)[..., None]
    out = density + (rim * rng.uniform(0.3, 1))[..., None] * (np.float32(rng.uniform(0.05, 0.2)) - density)
    out = out + gone[..., None] * (ground - out)
    return np.asarray(out - density, np.float32), np.asarray(gone > 0.5)


def show_through(rng: Generator, density: Array, material: Material) -> tuple[Array, NDArray[np.bool_]]:
    """Writing or stamp ink of the back that came through: mirrored, soft, faint; outlined as a block."""
    size = density.shape[:2]
    h, w = int(rng.uniform(0.12, 0.7) * size[0]), int(rng.uniform(0.2, 0.8) * size[1])
    em = np.exp(rng.uniform(np.log(0.018), np.log(0.06))) * size[0]
    if rng.random() < 0.75:
        block = handwriting(rng, material, (h, w), em, int(rng.integers(1, 12)), rng.uniform(1.0, 2.5))
    else:
        block = text_block(rng, material.fonts, (h, w), max(em, 8), justified=False, lead=rng.uniform(1.2, 2.0))
    if rng.random() < 0.2:
        block = block[::-1]
    plane = np.zeros(size, np.float32)
    top, left = int(rng.integers(size[0] - h)), int(rng.integers(size[1] - w))
    plane[top : top + h, left : left + w] = block[:, ::-1]
    soft = _blur(plane, rng.uniform(0.8, 2.2))
    soft = soft / max(float(np.percentile(soft[soft > 0.05], 90)) if (soft > 0.05).any() else 1.0, 0.2)
    colour = triple(rng, (0.3, 0.3, 0.3), (1, 1, 1)) if rng.random() < 0.6 else np.array([1.0, 0.85, 0.4], np.float32)
    added = (np.minimum(soft, 1.2) * np.exp(rng.uniform(np.log(0.06), np.log(0.45))))[..., None] * colour / colour.max()
    strokes = np.abs(added).max(2) > VISIBLE
    gap = max(3, round(em * 1.1))
    small = np.asarray(Image.fromarray(strokes).resize((size[1] // 2, size[0] // 2), Image.Resampling.NEAREST))
    area = ndimage.binary_closing(np.pad(small, gap), np.ones((gap, gap), bool))[gap:-gap, gap:-gap]
    return np.asarray(added, np.float32), np.asarray(resized(area.astype(np.float32), size) > 0.5)


def rust(rng: Generator, density: Array, material: Material) -> tuple[Array, NDArray[np.bool_]]:
    """What a paper clip, staple, pin or nail left: orange-brown, dark in the middle, with a halo."""
    del material
    size = density.shape[:2]
    style = rng.random()
    plane = np.zeros(size, np.float32)
    x, y = rng.uniform(0.02, 0.98, 2) * np.array([size[1], size[0]])
    unit = rng.uniform(0.02, 0.05) * size[0]
    if style < 0.45:  # a clip: nested loops, hanging on an edge
        long, short = unit * rng.uniform(2.5, 5), unit * rng.uniform(0.6, 1.0)
        turn = rng.choice([0, np.pi / 2, rng.uniform(0, np.pi)])
        if rng.random() < 0.7:
            x, y = (x, rng.choice([0, size[0]])) if rng.random() < 0.5 else (rng.choice([0, size[1]]), y)
        for part in (1.0, 0.72)[: int(rng.integers(1, 3))]:
            t = np.linspace(0, 2 * np.pi * rng.uniform(0.7, 1.0), 60)
            px = long / 2 * part * np.sign(np.cos(t)) * np.abs(np.cos(t)) ** 0.5
            py = short / 2 * part * np.sign(np.sin(t)) * np.abs(np.sin(t)) ** 0.5
            points = np.stack([x + px * np.cos(turn) - py * np.sin(turn), y + px * np.sin(turn) + py * np.cos(turn)], 1)
            plane = np.maximum(plane, _polyline(size, points.astype(np.float32), rng.uniform(1.5, 4)))
    elif style < 0.7:  # a staple: bar or two dots
        length = unit * rng.uniform(0.8, 2)
        turn = rng.uniform(0, np.pi)
        ends = np.array([[x, y], [x + length * np.cos(turn), y + length * np.sin(turn)]], np.float32)
        plane = _polyline(size, ends, rng.uniform(1.5, 3))
        if rng.random() < 0.4:
            dot = np.array([[0, 0], [1, 1]], np.float32)
            plane = np.maximum(_polyline(size, ends[:1] + dot, 4), _polyline(size, ends[1:] + dot, 4))
    else:
        rows, columns = np.mgrid[0 : size[0], 0 : size[1]].astype(np.float32)
        radius = rng.uniform(2, 14)
        near = np.hypot((rows - y) * rng.uniform(0.7, 1.4), columns - x) / (1 + 0.25 * smooth(rng, size, 12))
        plane = np.clip(radius - near, 0, 1)
    rough = np.clip(1 + 0.5 * smooth(rng, size, rng.uniform(3, 8)), 0, 2)
    halo = _blur(plane, rng.uniform(2, 6))
    amount = _blur(plane * rough, 0.7) + halo / max(float(halo.max()), 0.05) * rng.uniform(0.15, 0.5)
    green = rng.uniform(0.5, 0.78)
    colour = np.array([green * rng.uniform(0.25, 0.55), green, 1.0], np.float32)
    added = (amount * rng.uniform(0.35, 1.2))[..., None] * colour
    return np.asarray(added, np.float32), _seen(np.asarray(added))


def mould(rng: Generator, density: Array, material: Material) -> tuple[Array, NDArray[np.bool_]]:
    """Colonies of small dark grey, green, black or violet dots with fuzzy edges, in clusters."""
    del material
    size = density.shape[:2]
    where = rng.uniform(0, 1, 2) * np.array(size)
    reach = rng.uniform(0.05, 0.3) * size[0]
    field = np.zeros(size, np.float32)
    count = int(rng.uniform(20, 220) * (reach / (0.2 * size[0])) ** 1.2) + 8
    radius = rng.uniform(0.8, 2.6)
    spots = where + rng.normal(0, 0.5, (count, 2)) * reach * np.array([rng.uniform(0.6, 1.5), 1.0])
    for y, x in spots:
        r = radius * np.exp(rng.normal(0, 0.4))
        top, left, bottom, right = (
            max(int(y - 3 * r), 0),
            max(int(x - 3 * r), 0),
            int(y + 3 * r + 2),
            int(x + 3 * r + 2),
        )
        part = field[top:bottom, left:right]
        if part.size == 0:
            continue
        dy, dx = np.mgrid[top : top + part.shape[0], left : left + part.shape[1]].astype(np.float32)
        np.maximum(part, np.exp(-((dy - y) ** 2 + (dx - x) ** 2) / (r * r)) * rng.uniform(0.4, 1), out=part)
    veil = np.zeros(size, np.float32)
    inside = spots[(spots[:, 0] > 0) & (spots[:, 0] < size[0]) & (spots[:, 1] > 0) & (spots[:, 1] < size[1])].astype(
        int
    )
    if len(inside):
        np.add.at(veil, (inside[:, 0], inside[:, 1]), 1.0)
    veil = _blur(veil, max(4, reach / 6))
    veil = veil / max(float(veil.max()), 1e-3)
    colours = ((0.9, 0.9, 1.0), (1.0, 0.85, 1.0), (0.85, 1.0, 0.8), (0.8, 0.9, 1.0), (1, 1, 1))
    colour = np.array(colours[int(rng.integers(5))], np.float32) * triple(rng, (0.9, 0.9, 0.9), (1, 1, 1))
    ragged = np.clip(1 + 0.4 * smooth(rng, size, 2.5), 0.2, 2)
    added = (field * ragged * rng.uniform(0.15, 0.8) + veil * rng.uniform(0, 0.1))[..., None] * colour
    dots = field > 0.3
    gap = max(3, round(reach / 10))  # of half pixels: gaps up to a fifth of the reach belong to the colony
    area = ndimage.binary_closing(np.pad(dots[::2, ::2], gap), np.ones((gap, gap), bool))[gap:-gap, gap:-gap]
    return np.asarray(added, np.float32), np.asarray(resized(area.astype(np.float32), size) > 0.5)


Mark = Callable[[Generator, Array, Material], tuple[Array, NDArray[np.bool_]]]
MARKS: tuple[Mark, ...] = (tape, tideline, foxing, stripes, fold, tear, loss, show_through, rust, mould)
_OFTEN = (0.07, 0.10, 0.13, 0.06, 0.09, 0.10, 0.06, 0.19, 0.08, 0.12)  # more of those that were found least


def distracted(rng: Generator, density: Array, material: Material) -> Array:
    """What is no mark of the classes: dust, hairs, scratches, captions on the border, a date, a stamp of light."""
    size = density.shape[:2]
    out = density
    if rng.random() < 0.3:
        specks = np.zeros(size, np.float32)
        count = int(rng.integers(5, 120))
        specks[rng.integers(0, size[0], count), rng.integers(0, size[1], count)] = rng.uniform(0.3, 1, count)
        out = out + (_blur(specks, rng.uniform(0.4, 0.8)) * rng.uniform(-1.5, 1.5))[..., None]
    if rng.random() < 0.2:
        for _ in range(int(rng.integers(1, 5))):
            points = (
                np.cumsum(rng.normal(0, 3, (20, 2)) + rng.normal(0, 3, 2), axis=0) + rng.uniform(0, 1, 2) * size[::-1]
            )
            out = out + (_polyline(size, points.astype(np.float32), 1) * rng.uniform(-0.3, 0.3))[..., None]
    if rng.random() < 0.2:  # straight scratches that end inside the picture
        for _ in range(int(rng.integers(1, 6))):
            start = rng.uniform(0, 1, 2) * size[::-1]
            end = start + rng.normal(0, 0.12, 2) * size[::-1]
            out = out - (_polyline(size, np.array([start, end], np.float32), 1) * rng.uniform(0.05, 0.4))[..., None]
    if rng.random() < 0.2:
        h, w = int(0.06 * size[0]), int(rng.uniform(0.2, 0.7) * size[1])
        words = handwriting(rng, material, (h, w), 0.02 * size[0], 1, rng.uniform(0.8, 1.6))
        top, left = int(rng.choice([0, size[0] - h - 1])), int(rng.integers(size[1] - w))
        out = out.copy()
        out[top : top + h, left : left + w] += words[..., None] * triple(rng, (0.4, 0.3, 0.2), (1, 1, 1))
    if rng.random() < 0.1:  # light that got into the camera, a cast that grows to one side
        out = out + (np.linspace(-1, 1, size[1])[None, :, None] * rng.normal(0, 0.08)).astype(np.float32) * brown(rng)
    return np.asarray(out, np.float32)


def layer(rng: Generator, size: Size, material: Material) -> tuple[Array, Array, Labels]:
    """One to three marks that can be laid on any original: ``D' = (1 - share) D + added``.

    Every mark is (nearly) a straight line in the density under it, so two looks at it, on density 0 and 1, tell both
    parts. Returns share (h, w), added (h, w, 3) and the class per pixel.
    """
    share, added = np.zeros(size, np.float32), np.zeros((*size, 3), np.float32)
    labels = np.zeros(size, np.uint8)
    for _ in range(int(rng.choice([1, 2, 3], p=[0.5, 0.35, 0.15]))):
        which = int(rng.choice(len(MARKS), p=_OFTEN))
        seed = int(rng.integers(2**31))
        on_white, area = MARKS[which](np.random.default_rng(seed), np.zeros((*size, 3), np.float32), material)
        if area.sum() < 12:
            continue
        taken = np.zeros(size, np.float32)
        if MARKS[which] in (tape, fold, tear, loss):
            on_dark, _ = MARKS[which](np.random.default_rng(seed), np.ones((*size, 3), np.float32), material)
            taken = np.clip((on_white - on_dark).mean(axis=2), 0, 1)
        added = (1 - taken)[..., None] * added + on_white
        share = 1 - (1 - share) * (1 - taken)
        labels[area] = which + 1
    return share, added, labels


def harmed(rng: Generator, density: Array, material: Material) -> tuple[Array, Labels]:
    """The original with none to three marks: (density, class per pixel)."""
    labels = np.zeros(density.shape[:2], np.uint8)
    out = distracted(rng, density, material)
    for _ in range(int(rng.choice([0, 1, 2, 3], p=[0.3, 0.35, 0.25, 0.1]))):
        which = int(rng.integers(len(MARKS)))
        added, area = MARKS[which](rng, out, material)
        if area.sum() >= 12:
            out = out + added
            labels[area] = which + 1
    return np.asarray(out, np.float32), labels
