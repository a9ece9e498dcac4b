"""Photographs and made pages for the figures of intake, apart by source from those that parameters were chosen on."""

from __future__ import annotations

import csv
import zlib
from pathlib import Path

import cv2
import numpy as np
from PIL import Image, ImageDraw, ImageFont

FONTS = Path(__file__).parents[1] / "simulate" / "fonts"
_WORDS = (
    "the", "water", "came", "over", "lower", "road", "on", "Sunday", "and", "by", "Monday", "it", "stood", "in", "our",
    "kitchen", "so", "we", "have", "carried", "stove", "up", "to", "landing", "books", "of", "reading", "room", "were",
    "taken", "bakery", "hay", "cart", "all", "but", "atlas", "which", "nobody", "could", "lift", "supper", "parish",
    "harvest", "held", "thanked", "everybody", "for", "flowers", "kettles", "band", "fire", "Helen", "Ward", "George",
)  # fmt: skip


def unseen(folder):
    """Picture files of the sources that were held back: an odd checksum of the source's name."""
    rows = csv.DictReader((folder / "index.tsv").open(encoding="utf-8"), delimiter="\t")
    return [folder / row["file"] for row in rows if zlib.crc32(row["source"].split("@")[0].encode()) % 2]


def read(path):
    """An sRGB picture, (H, W, 3) uint8."""
    return np.ascontiguousarray(cv2.imread(str(path))[..., ::-1])


def text_page(rng, font=None):
    """A page of print or handwriting, (H, W) uint8: ragged lines, grey ink, uneven paper, a slight turn."""
    fonts = sorted(FONTS.glob("*.woff"))
    file = fonts[rng.integers(len(fonts))] if font is None else font
    width, height = int(rng.integers(800, 1300)), int(rng.integers(900, 1500))
    size = int(rng.integers(20, 44))
    letters = ImageFont.truetype(str(file), size)
    picture = Image.new("L", (width, height), int(rng.integers(190, 245)))
    pen, ink = ImageDraw.Draw(picture), int(rng.integers(30, 120))
    margin, y = int(rng.integers(40, 120)), int(rng.integers(40, 160))
    lines = int(rng.integers(4, 40))
    for _ in range(lines):
        if y > height - 2 * size:
            break
        line = ""
        while pen.textlength(line, letters) < (width - 2.4 * margin) * rng.uniform(0.75, 1.0):
            line += str(rng.choice(_WORDS)) + " "
        pen.text((margin, y), line[: rng.integers(8, 40)] if rng.random() < 0.1 else line, font=letters, fill=ink)
        y += int(size * rng.uniform(1.25, 1.6))
    page = np.asarray(picture).astype(np.float32)
    turn = cv2.getRotationMatrix2D((width / 2, height / 2), rng.uniform(-1.2, 1.2), 1)
    page = cv2.warpAffine(page, turn, (width, height), borderMode=cv2.BORDER_REPLICATE)
    stain = cv2.resize(rng.normal(0, 8, (6, 6)).astype(np.float32), (width, height), interpolation=cv2.INTER_CUBIC)
    return np.clip(page + stain + rng.normal(0, 3, page.shape), 0, 255).astype(np.uint8)


def second_scan(rng, picture):
    """Cropped by up to 9 % a side, askew, exposed otherwise, faded, noisy, turned by quarters."""
    h, w = picture.shape[:2]
    a, b, c, d = rng.uniform(0, 0.09, 4)
    part = picture[int(a * h) : int(h - b * h), int(c * w) : int(w - d * w)]
    size = part.shape[1::-1]
    askew = cv2.getRotationMatrix2D((size[0] / 2, size[1] / 2), rng.uniform(-2, 2), 1)
    values = cv2.warpAffine(part, askew, size, borderMode=cv2.BORDER_REFLECT) / 255.0
    strength = rng.uniform(0.4, 1)
    values = values ** rng.uniform(0.6, 1.6) * strength + rng.uniform(0, 1, 3) * (1 - strength)
    values = cv2.resize(values, None, fx=0.8, fy=0.8, interpolation=cv2.INTER_AREA)
    values += rng.normal(0, 0.015, values.shape)
    return np.rot90(np.clip(values * 255, 0, 255).astype(np.uint8), int(rng.integers(4)))


def other_subject(rng, picture, other):
    """The picture with half of it hidden by something else: a studio's or a wall's backdrop, used again."""
    h, w = picture.shape[:2]
    size = (rng.uniform(0.22, 0.32) * w, rng.uniform(0.4, 0.55) * h)
    mask = np.zeros((h, w), np.float32)
    middle = (int(rng.uniform(0.35, 0.65) * w), int(h - 0.8 * size[1]))
    cv2.ellipse(mask, middle, (int(size[0]), int(size[1])), 0, 0, 360, 1, -1, cv2.LINE_AA)
    mask = cv2.GaussianBlur(mask, (0, 0), 2)[..., None]
    mixed = picture * (1 - mask) + cv2.resize(other, (w, h)) * mask
    return np.clip(mixed, 0, 255).astype(np.uint8)


def in_a_mount(picture, width=600, height=460):
    """The picture in a printed mount that is the same for all."""
    sheet = np.full((height, width, 3), 224, np.uint8)
    cv2.rectangle(sheet, (28, 28), (width - 28, height - 90), (90, 84, 80), 3, cv2.LINE_AA)
    for text, x, y, size in (("Lindqvist & Son", 40, 415, 1.1), ("Portraits  Weddings  Views", 40, 444, 0.6),
                             ("No. 14 Harbour Street", 360, 444, 0.6)):  # fmt: skip
        cv2.putText(sheet, text, (x, y), cv2.FONT_HERSHEY_TRIPLEX, size, (70, 60, 60), 1, cv2.LINE_AA)
    sheet[34 : height - 96, 34 : width - 34] = cv2.resize(picture, (width - 68, height - 130))
    return sheet
