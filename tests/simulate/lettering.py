"""Type and handwriting drawn with the free fonts that lie beside this module. Ink amounts 0..1, (height, width)."""

from pathlib import Path

import numpy as np
from numpy.random import Generator
from PIL import Image as PillowImage
from PIL import ImageDraw, ImageFont

from .fields import Field

FONTS = Path(__file__).parent / "fonts"
SERIF = FONTS / "old-standard-tt-latin-400-normal.woff"
SERIF_BOLD = FONTS / "old-standard-tt-latin-700-normal.woff"
PEN = FONTS / "la-belle-aurore-latin-400-normal.woff"
PENCIL = FONTS / "caveat-latin-400-normal.woff"


def hand(
    rng: Generator, shape: tuple[int, int], font: Path, size_px: float, lines: list[tuple[float, float, str]]
) -> Field:
    """Handwritten lines, each (x, baseline y, text): words wander a little in height, size and slope."""
    page = PillowImage.new("L", (shape[1], shape[0]), 0)
    for x, y, text in lines:
        slope, at = float(rng.normal(0.0, 0.006)), x
        for word in text.split(" "):
            face = ImageFont.truetype(str(font), size_px * float(rng.normal(1.0, 0.025)))
            drop = float(rng.normal(0.0, size_px * 0.03)) + slope * (at - x)
            ImageDraw.Draw(page).text((at, y + drop), word, fill=255, font=face, anchor="ls")
            at += face.getlength(word) + size_px * float(rng.normal(0.28, 0.04))
    return np.asarray(page, np.float32) / 255.0


def line(page: Field, text: str, font: Path, size_px: float, x: float, baseline: float, anchor: str = "ls") -> Field:
    """The page with one line of type added."""
    drawn = PillowImage.fromarray(np.round(page * 255.0).astype(np.uint8))
    ImageDraw.Draw(drawn).text(
        (x, baseline), text, fill=255, font=ImageFont.truetype(str(font), size_px), anchor=anchor
    )
    return np.asarray(drawn, np.float32) / 255.0


def column(
    page: Field, text: str, font: Path, size_px: float, box: tuple[float, float, float, float]
) -> tuple[Field, str]:
    """The page with a justified column in `box` (x, y, width, height); also the text that did not fit."""
    x, y, width, height = box
    face = ImageFont.truetype(str(font), size_px)
    drawn = PillowImage.fromarray(np.round(page * 255.0).astype(np.uint8))
    pen = ImageDraw.Draw(drawn)
    leading, baseline = size_px * 1.16, y + size_px
    paragraphs = [paragraph.split() for paragraph in text.split("\n")]
    while paragraphs and baseline <= y + height:
        words, indent = paragraphs[0], 0.0
        if words and words[0] == "¶":
            words.pop(0)
            indent = size_px
        taken = 1
        while taken < len(words) and face.getlength(" ".join(words[: taken + 1])) <= width - indent:
            taken += 1
        row, paragraphs[0] = words[:taken], words[taken:]
        slack = width - indent - sum(face.getlength(word) for word in row)
        gap = slack / max(len(row) - 1, 1) if paragraphs[0] else face.getlength(" ")
        at = x + indent
        for word in row:
            pen.text((at, baseline), word, fill=255, font=face, anchor="ls")
            at += face.getlength(word) + gap
        baseline += leading
        if not paragraphs[0]:
            paragraphs.pop(0)
    return np.asarray(drawn, np.float32) / 255.0, "\n".join(" ".join(words) for words in paragraphs)


def rule(page: Field, x: float, y: float, width: float, thickness: float) -> Field:
    """The page with a printer's rule (solid bar)."""
    out = page.copy()
    out[round(y) : round(y + thickness), round(x) : round(x + width)] = 1.0
    return out
