"""Originals as sheets of their own: prints with and without borders, on mounts, clippings, letters."""

from __future__ import annotations

import cv2
import numpy as np

from simulate.beds import write
from simulate.letters import written_page

#: Kinds of sheet and how often each is drawn.
SHEETS = {"plain": 0.36, "border": 0.33, "instant": 0.06, "card": 0.07, "text": 0.05, "letter": 0.06, "clipping": 0.07}
#: Those that may be torn out.
PAPERS = frozenset({"text", "letter", "clipping"})

_LINES = ["harvest", "of", "the", "parish", "on", "Sunday", "was", "held", "by", "Mrs", "band", "and", "river", "in"]


def paper(rng):
    """Colour of fresh or yellowed paper, (3,) sRGB codes."""
    fresh = np.array([rng.uniform(205, 250)] * 3) - np.array([0, 0.8, 2.6]) * rng.uniform(0, 14)
    return fresh * np.array([1.0, 0.9, 0.7]) * rng.uniform(0.75, 1.0) if rng.random() < 0.3 else fresh


def aged(rng, picture):
    """The picture faded, and in a third of all cases grey or brown: float32 in sRGB codes."""
    picture = picture.astype(np.float32)
    if rng.random() < 0.35:
        grey = picture @ np.array([0.299, 0.587, 0.114], np.float32)
        tint = np.array([1.0, rng.uniform(0.86, 1.0), rng.uniform(0.66, 1.0)], np.float32)
        picture = grey[..., None] * tint
    strength = rng.uniform(0, 0.45) if rng.random() < 0.7 else 0.0
    veil = np.array([rng.uniform(170, 235), rng.uniform(150, 215), rng.uniform(120, 190)], np.float32)
    return picture * (1 - strength) + veil * strength


def filling(picture, width, height):
    """The middle of a picture, scaled to cover width x height."""
    scale = max(width / picture.shape[1], height / picture.shape[0])
    size = (max(width, round(picture.shape[1] * scale)), max(height, round(picture.shape[0] * scale)))
    grown = cv2.resize(picture, size, interpolation=cv2.INTER_CUBIC if scale > 1 else cv2.INTER_AREA)
    x, y = (size[0] - width) // 2, (size[1] - height) // 2
    return grown[y : y + height, x : x + width]


def _lines(rng, sheet, box, unit):
    """Print lines of text into a box (left, top, right, bottom)."""
    size = rng.uniform(6, 11) * unit
    y = box[1] + size * 2
    while y < box[3] - size:
        line = " ".join(rng.choice(_LINES, size=max(2, int((box[2] - box[0]) / size / 3))))
        place = (int(box[0] + size), int(y))
        thickness = max(1, int(size / 10))
        cv2.putText(sheet, line, place, cv2.FONT_HERSHEY_COMPLEX, size / 24, (50, 46, 44), thickness, cv2.LINE_AA)
        y += size * 1.55
    sheet[:, int(box[2] - size * 0.8) : int(box[2])] = sheet[0, 0]


def sheet_of(rng, picture, width, height, kind, unit):
    """One original without turn, (height, width, 3) float32 in sRGB codes; ``kind`` is one of ``SHEETS``."""
    if (picture.shape[0] > picture.shape[1]) != (height > width):
        picture = np.ascontiguousarray(np.rot90(picture))
    short = min(width, height)
    sheet = np.empty((height, width, 3), np.float32)
    sheet[:] = paper(rng)
    left = right = top = bottom = 0
    if kind == "plain":
        return aged(rng, filling(picture, width, height))
    if kind == "letter":
        return written_page(rng, width, height, sheet[0, 0])
    if kind in {"text", "clipping"}:
        canvas = np.ascontiguousarray(np.clip(np.round(sheet), 0, 255).astype(np.uint8))
        _lines(rng, canvas, (0, 0, width, height), unit)
        sheet = canvas.astype(np.float32)
        if kind == "clipping":
            w, h = round(width * rng.uniform(0.35, 0.9)), round(height * rng.uniform(0.3, 0.6))
            x, y = round((width - w) * rng.uniform(0.1, 0.9)), round((height - h) * rng.uniform(0.1, 0.9))
            grey = filling(picture, w, h) @ np.array([0.299, 0.587, 0.114])
            pad = round(6 * unit)
            sheet[max(0, y - pad) : y + h + pad, max(0, x - pad) : x + w + pad] = sheet[0, 0]
            sheet[y : y + h, x : x + w] = (grey * 0.7 + 50)[..., None] * (sheet[0, 0] / 255)
        return sheet
    if kind == "border":
        left = right = top = bottom = round(short * rng.uniform(0.025, 0.085))
    elif kind == "instant":
        left = right = top = round(short * rng.uniform(0.05, 0.08))
        bottom = round(short * rng.uniform(0.18, 0.26))
        sheet[:] = np.array([rng.uniform(226, 250)] * 3) - np.array([0, 0.6, 1.8]) * rng.uniform(0, 8)
    elif kind == "card":
        left = right = top = round(short * rng.uniform(0.04, 0.12))
        bottom = round(short * rng.uniform(0.08, 0.2))
        tone = rng.uniform(40, 225)
        sheet[:] = np.array([tone, tone * rng.uniform(0.86, 1.0), tone * rng.uniform(0.7, 1.0)])
    inner = (width - left - right, height - top - bottom)
    sheet[top : top + inner[1], left : left + inner[0]] = aged(rng, filling(picture, *inner))
    if kind == "card" and rng.random() < 0.7:
        ink = float(np.clip(sheet[0, 0].mean() + rng.choice([-90, 90]), 20, 235))
        place = (left + round(inner[0] * rng.uniform(0.05, 0.5)), height - round(bottom * 0.35))
        write(sheet, "Lindqvist & Son", place, cv2.FONT_HERSHEY_TRIPLEX, 0.5 * unit, ink, 1)
    return sheet


def cover_of(rng, width, height, unit, traits):
    """Coverage of a sheet: straight, or by its traits "deckle" (cut with a wavy blade), "torn" or "rounded".

    Returns:
        (height, width) float32 0 to 1, and how far inside the sheet's sides (left, top, right, bottom) its mean edge
        lies, px.

    """
    cover = np.ones((height, width), np.float32)
    inset = np.zeros(4)
    if "deckle" in traits or "torn" in traits:
        for axis in (0, 1):
            size, other = (height, width) if axis == 0 else (width, height)
            if "torn" in traits:
                grain = max(2.0, rng.uniform(10, 60) * unit)
                wave = np.interp(
                    np.arange(other) / grain, np.arange(other // grain + 2), rng.normal(0, 1, int(other // grain) + 2)
                )
                depth = (wave + 2.0) * rng.uniform(0.4, 1.6) * unit
            else:
                wave = np.sin(np.arange(other) * 2 * np.pi / (rng.uniform(5, 11) * unit)) + rng.normal(0, 0.3, other)
                depth = (wave + 1.2) * rng.uniform(0.5, 1.1) * unit
            index = np.arange(size)[:, None]
            edge = np.clip(index - depth[None, :] + 0.5, 0, 1) * np.clip(size - 0.5 - index - depth[None, ::-1], 0, 1)
            cover = np.minimum(cover, (edge if axis == 0 else edge.T).astype(np.float32))
            inset[[1 - axis, 3 - axis]] = np.maximum(depth, 0).mean()
    if "rounded" in traits:
        radius = round(min(width, height) * rng.uniform(0.02, 0.05))
        mask = np.zeros((height, width), np.uint8)
        cv2.rectangle(mask, (radius, 0), (width - radius - 1, height - 1), 255, -1)
        cv2.rectangle(mask, (0, radius), (width - 1, height - radius - 1), 255, -1)
        for x in (radius, width - radius - 1):
            for y in (radius, height - radius - 1):
                cv2.circle(mask, (x, y), radius, 255, -1, cv2.LINE_AA)
        cover = np.minimum(cover, mask.astype(np.float32) / 255)
    return cover, inset
