"""Empty scanner beds and album pages, and what lies on them besides originals: captions, glare, dust."""

from __future__ import annotations

import cv2
import numpy as np

LIDS = ("white lid", "grey lid", "black lid")
LEAVES = ("black page", "cream page", "kraft page", "adhesive page")
BACKGROUNDS = LIDS + LEAVES

WORDS = (
    "Easter", "at the lake", "Ida and Tom", "1937", "summer", "the new boat", "August", "our house", "Grandmother",
    "on the pier", "harvest", "first snow", "school outing", "1952", "the twins", "Sunday",
)  # fmt: skip


def smooth_field(rng, shape, scale_px, sigma):
    """Smooth random field (H, W) of the given grain and standard deviation."""
    h, w = shape
    small = rng.normal(size=(max(3, int(h / scale_px) + 2), max(3, int(w / scale_px) + 2))).astype(np.float32)
    out = cv2.resize(small, (w, h), interpolation=cv2.INTER_CUBIC)
    return out * (sigma / max(float(out.std()), 1e-6))


def ground(rng, shape, background, unit):
    """Empty bed or page, (H, W, 3) float32 in sRGB codes; ``unit``: px that are one px of a page 1600 px long."""
    h, w = shape
    if background == "white lid":
        base = np.full(3, rng.uniform(225, 255)) + rng.normal(0, 1.5, 3)
    elif background == "grey lid":
        base = np.full(3, rng.uniform(120, 222)) + rng.normal(0, 2, 3)
    elif background == "black lid":
        base = np.full(3, rng.uniform(2, 34)) + rng.normal(0, 1, 3)
    elif background == "black page":
        base = np.full(3, rng.uniform(14, 62)) + np.array([1.0, 0.2, -1.0]) * rng.uniform(-1, 6)
    elif background == "kraft page":
        base = np.array([1.0, 0.84, 0.66]) * rng.uniform(120, 205) + rng.normal(0, 4, 3)
    else:
        base = np.array([rng.uniform(190, 246)] * 3) - np.array([0, 1, 3.2]) * rng.uniform(3, 15)
    page = np.empty((h, w, 3), np.float32)
    page[:] = base
    slope = np.linspace(-1, 1, w)[None, :] * rng.normal(0, 1.5) + np.linspace(-1, 1, h)[:, None] * rng.normal(0, 1.5)
    page += slope.astype(np.float32)[..., None]
    if background.endswith("page"):
        fibre = rng.uniform(0.8, 2.8) * (1.6 if background == "kraft page" else 1.0)
        page += smooth_field(rng, shape, max(1.5, 6 * unit), fibre)[..., None]
        page += smooth_field(rng, shape, 320 * unit, rng.uniform(0.3, 2.4))[..., None]
    if background == "kraft page":
        flecks = (rng.random(shape) < 0.0004).astype(np.float32)
        page -= cv2.GaussianBlur(flecks, (0, 0), max(0.7, 1.4 * unit))[..., None] * rng.uniform(60, 200)
    if background == "adhesive page":
        period = rng.uniform(14, 34) * unit
        stripes = np.sin(np.arange(h) * 2 * np.pi / period + rng.uniform(0, 6)) ** 3 * rng.uniform(1.0, 5.0)
        page += stripes.astype(np.float32)[:, None, None] * np.array([0.7, 0.9, 1.3], np.float32)
    return np.clip(page, 0, 255)


def write(page, words, place, font, size, ink, thickness):
    """Draw words on a float page with their baseline starting at a place (x, y); ``ink`` is a grey code."""
    (w, h), below = cv2.getTextSize(words, font, size, thickness)
    x, y = place[0], place[1] - h - below
    mask = np.zeros((h + 3 * below + 4, w + 8), np.uint8)
    cv2.putText(mask, words, (2, h + below), font, size, 255, thickness, cv2.LINE_AA)
    part = page[max(y, 0) : y + mask.shape[0], max(x, 0) : x + mask.shape[1]]
    if part.size and y >= 0 and x >= 0:
        share = mask[: part.shape[0], : part.shape[1], None].astype(np.float32) / 255
        part += share * (ink - part)


def captions(rng, page, rectangles, unit):
    """Write beside some of the originals, as people did: in ink, or in white pencil on dark pages; now and then large
    and close under the print.
    """
    dark = float(np.median(page[::16, ::16])) < 110
    ink = rng.uniform(170, 235) if dark else rng.uniform(20, 110)
    for corners in rectangles:
        if rng.random() < 0.4:
            continue
        low, high = corners.min(0), corners.max(0)
        font = int(rng.choice([cv2.FONT_HERSHEY_SCRIPT_SIMPLEX, cv2.FONT_HERSHEY_SCRIPT_COMPLEX]))
        size = rng.uniform(0.5, 1.0) * rng.choice([1.0, 1.0, 2.0, 3.0], p=[0.4, 0.25, 0.25, 0.1]) * unit
        tall = 22 * size  # capitals of these fonts at size 1
        gap = rng.uniform(2, 26) * unit
        baseline = high[1] + gap + tall if rng.random() < 0.85 else low[1] - gap
        place = (int(low[0] + rng.uniform(0, 0.3) * (high[0] - low[0])), int(baseline))
        words = str(rng.choice(WORDS))
        write(page, words, place, font, size, ink, max(1, round(1.3 * max(unit, size))))


def under_plastic(rng, page, unit):
    """Glare of the film of a self-stick page: a broad sheen, and bright wrinkles that run over everything."""
    h, w = page.shape[:2]
    across = np.linspace(0, 1, w)[None, :] * rng.uniform(-1, 1) + np.linspace(0, 1, h)[:, None] * rng.uniform(-1, 1)
    sheen = np.exp(-(((across - rng.uniform(-0.6, 0.8)) / rng.uniform(0.06, 0.3)) ** 2)) * rng.uniform(0, 26)
    page += sheen.astype(np.float32)[..., None]
    wrinkles = np.zeros((h, w), np.float32)
    for _ in range(int(rng.integers(0, 7))):
        start = rng.uniform(0, 1, 2) * (w, h)
        heading = rng.uniform(0, 2 * np.pi)
        steps = np.cumsum(rng.normal(0, 0.12, 24)) + heading
        points = start + np.cumsum(np.stack([np.cos(steps), np.sin(steps)], 1), 0) * rng.uniform(8, 30) * unit
        width = max(1, round(rng.uniform(1, 4) * unit))
        drawn = np.round(points * 8).astype(np.int32)
        cv2.polylines(wrinkles, [drawn], False, rng.uniform(15, 90), width, cv2.LINE_AA, 3)
    page += cv2.GaussianBlur(wrinkles, (0, 0), max(0.6, rng.uniform(0.6, 2.5) * unit))[..., None]
    page += rng.uniform(0, 8)


def dust(rng, page, unit):
    """Specks and hairs on the glass."""
    for _ in range(int(rng.integers(0, 14))):
        x, y = rng.uniform(0, 1, 2) * page.shape[1::-1]
        tone = float(rng.choice([rng.uniform(0, 60), rng.uniform(190, 255)]))
        if rng.random() < 0.7:
            cv2.circle(page, (int(x), int(y)), max(1, round(rng.uniform(0.5, 2) * unit)), (tone,) * 3, -1, cv2.LINE_AA)
        else:
            turn = np.cumsum(rng.normal(0, 0.3, 12)) + rng.uniform(0, 6)
            points = np.array([x, y]) + np.cumsum(np.stack([np.cos(turn), np.sin(turn)], 1), 0) * 5 * unit
            cv2.polylines(page, [np.round(points).astype(np.int32)], False, (tone,) * 3, 1, cv2.LINE_AA)


def end_of_lid(rng, page):
    """The lid's own end along one side of the bed: a strip of another tone."""
    width = max(1, round(rng.uniform(0.004, 0.016) * max(page.shape)))
    side = (np.s_[:width], np.s_[-width:], np.s_[:, :width], np.s_[:, -width:])[int(rng.integers(4))]
    page[side] += rng.uniform(20, 90) * rng.choice([-1, 1])


def holes(rng, page, corners, unit):
    """Punched holes along one side of a leaf; corners: (4, 2) of the leaf."""
    start, end = corners[3], corners[0]
    inward = (corners[1] - corners[0]) / np.hypot(*(corners[1] - corners[0]))
    tone = float(np.median(page[:4, :4]))
    for share in np.linspace(0.2, 0.8, int(rng.integers(2, 5))):
        x, y = start + (end - start) * share + inward * 30 * unit
        cv2.circle(page, (int(x), int(y)), max(2, round(9 * unit)), (tone,) * 3, -1, cv2.LINE_AA)
