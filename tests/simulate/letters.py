"""Written and printed pages with their margins: letters, notes, backs of prints, ruled leaves."""

from __future__ import annotations

import cv2
import numpy as np
from PIL import Image, ImageDraw, ImageFont

from simulate.beds import WORDS, smooth_field
from simulate.lettering import PEN, PENCIL, SERIF, SERIF_BOLD

_FONTS = (PEN, PENCIL, PEN, PENCIL, SERIF, SERIF_BOLD)
_SYLLABLES = (
    "an",
    "ber",
    "co",
    "del",
    "es",
    "fur",
    "ga",
    "hol",
    "in",
    "jo",
    "ker",
    "lan",
    "mo",
    "ne",
    "or",
    "the",
    "and",
)


def _line(rng, face, longest):
    """Invented words up to a length in px."""
    words = ""
    while face.getlength(words) < longest:
        word = "".join(rng.choice(_SYLLABLES, int(rng.integers(1, 4))))
        words += (word if rng.random() < 0.9 else str(rng.choice(WORDS))) + " "
    return words[: words.rstrip().rfind(" ")]


def written_page(rng, width, height, paper):
    """A page that writing fills in part, (height, width, 3) float32 sRGB codes; ``paper`` (3,) is its colour."""
    short = min(width, height)
    ink = Image.new("L", (width, height), 0)
    pen = ImageDraw.Draw(ink)
    size = short * rng.uniform(0.018, 0.05)
    face = ImageFont.truetype(str(_FONTS[rng.integers(len(_FONTS))]), size)
    left, right = short * rng.uniform(0.01, 0.2, 2)
    y, lead = short * rng.uniform(0.01, 0.35), size * rng.uniform(1.1, 1.9)
    last = height * (rng.uniform(0.15, 0.6) if rng.random() < 0.4 else rng.uniform(0.75, 1.02))
    ragged, drift = rng.uniform(0, 0.3), rng.normal(0, 0.15) * size  # margins of a hand wander
    while y < min(last, height - size):
        longest = (width - left - right) * rng.uniform(1 - ragged, 1)
        if rng.random() < 0.08:
            longest *= rng.uniform(0.2, 0.8)
        pen.text((left + rng.normal(0, 0.08) * size, y), _line(rng, face, longest), font=face, fill=255)
        y += lead * (2 if rng.random() < 0.05 else 1)
        left = max(1.0, left + drift)
    if rng.random() < 0.25:  # ruled by the maker
        tone = int(rng.integers(30, 120))
        for level in np.arange(short * 0.1, height, lead):
            pen.line([(0, level), (width, level)], fill=tone, width=max(1, round(size / 25)))
    cover = np.asarray(ink, np.float32)[..., None] / 255
    if rng.random() < 0.7:
        turn = cv2.getRotationMatrix2D((width / 2, height / 2), rng.normal(0, 1.5), 1)
        cover = cv2.warpAffine(cover, turn, (width, height))[..., None]
    colour = np.array([1.0, 1.0, rng.uniform(0.9, 1.5)]) * rng.uniform(20, 130)
    page = np.broadcast_to(np.asarray(paper, np.float32), (height, width, 3)) + smooth_field(
        rng, (height, width), short * rng.uniform(0.15, 0.6), rng.uniform(0.5, 8)
    )[..., None]  # fmt: skip
    return (page * (1 - cover) + np.minimum(colour, 200) * cover).astype(np.float32)
