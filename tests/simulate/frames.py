"""Scans that one original fills to the edge: nothing on them may be cut off or taken apart."""

from __future__ import annotations

import cv2
import numpy as np

from simulate import beds, prints
from simulate.pages import scanned

#: Kinds of full frame and how often each is drawn.
FRAMES = {
    "picture": 0.3, "border": 0.2, "instant": 0.06, "card": 0.06, "text": 0.06, "clipping": 0.1, "strip": 0.04,
    "views": 0.06, "pictures within": 0.06, "gallery": 0.06,
}  # fmt: skip


def _many(rng, pictures, width, height, columns, rows):
    """Several views printed on one card, with even paper between them."""
    sheet = np.empty((height, width, 3), np.float32)
    sheet[:] = np.array([rng.uniform(215, 252)] * 3) - np.array([0, 0.6, 2]) * rng.uniform(0, 8)
    gap = round(min(width, height) * rng.uniform(0.012, 0.05))
    w, h = (width - gap * (columns + 1)) // columns, (height - gap * (rows + 1)) // rows
    for row in range(rows):
        for column in range(columns):
            picture = pictures[rng.integers(len(pictures))]
            x, y = gap + column * (w + gap), gap + row * (h + gap)
            sheet[y : y + h, x : x + w] = prints.aged(rng, prints.filling(picture, w, h))
    return sheet


def _hung(rng, sheet, pictures, low, high, *, framed):
    """Paste small pictures askew into a picture, as posters and framed pictures on a wall are."""
    h, w = sheet.shape[:2]
    for _ in range(int(rng.integers(1, 6))):
        width = rng.uniform(0.12, 0.34) * w
        height = width * rng.uniform(0.6, 1.5)
        x, y = rng.uniform(0, max(1, w - width)), rng.uniform(low * h, max(low * h + 1, high * h - height))
        corners = np.array([[x, y], [x + width, y], [x + width, y + height], [x, y + height]])
        corners += rng.uniform(-0.04, 0.04, (4, 2)) * width
        picture = pictures[rng.integers(len(pictures))].astype(np.float32)
        if framed:
            edge = round(min(picture.shape[:2]) * rng.uniform(0.03, 0.12))
            colour = (rng.uniform(10, 120), rng.uniform(10, 90), rng.uniform(5, 70))
            picture = cv2.copyMakeBorder(picture, edge, edge, edge, edge, cv2.BORDER_CONSTANT, value=colour)
        ph, pw = picture.shape[:2]
        source = np.array([[0, 0], [pw, 0], [pw, ph], [0, ph]], np.float32)
        matrix = cv2.getPerspectiveTransform(source, corners.astype(np.float32))
        alpha = cv2.warpPerspective(np.ones((ph, pw), np.float32), matrix, (w, h))[..., None]
        sheet *= 1 - alpha
        sheet += cv2.warpPerspective(picture, matrix, (w, h)) * alpha


def full_frame(rng, pictures, kind=None, long_edge=1400):
    """One scan that its original fills, (H, W, 3) uint8; ``kind`` is one of ``FRAMES``, drawn when None."""
    kind = kind or str(rng.choice(list(FRAMES), p=list(FRAMES.values())))
    picture = pictures[rng.integers(len(pictures))]
    short = round(long_edge * rng.uniform(0.6, 0.85))
    width, height = (long_edge, short) if picture.shape[1] >= picture.shape[0] else (short, long_edge)
    unit = long_edge / 1600
    if kind == "strip":
        width, height = round(long_edge * rng.uniform(0.26, 0.4)), long_edge
        sheet = _many(rng, pictures, width, height, 1, int(rng.integers(3, 5)))
    elif kind == "views":
        sheet = _many(rng, pictures, width, height, int(rng.integers(2, 4)), int(rng.integers(1, 4)))
    elif kind in {"pictures within", "gallery"}:
        sheet = prints.aged(rng, prints.filling(picture, width, height))
        low, high = 0.0, 1.0
        if kind == "gallery":
            high = rng.uniform(0.5, 0.8)
            wall = beds.ground(rng, (round(high * height), width), str(rng.choice(beds.BACKGROUNDS)), unit)
            shade = beds.smooth_field(rng, wall.shape[:2], 400 * unit, rng.uniform(2, 14))
            sheet[: wall.shape[0]] = wall + shade[..., None]
        _hung(rng, sheet, pictures, low, high, framed=rng.random() < 0.6)
    else:
        sheet = prints.sheet_of(rng, picture, width, height, "plain" if kind == "picture" else kind, unit * 1.5)
    if rng.random() < 0.5:  # laid a little askew and trimmed until no bed shows
        turn = rng.uniform(-0.8, 0.8)
        grown = 1 + 2.2 * abs(np.radians(turn)) * max(width, height) / min(width, height)
        middle = (width * rng.uniform(0.45, 0.55), height * rng.uniform(0.45, 0.55))
        matrix = cv2.getRotationMatrix2D(middle, turn, grown)
        sheet = cv2.warpAffine(sheet, matrix, (width, height), borderMode=cv2.BORDER_REPLICATE)
    elif rng.random() < 0.3:  # trimmed by the scanner, on some sides more
        left, top, right, bottom = np.round(rng.uniform(0, 0.04, 4) * [width, height, width, height]).astype(int)
        sheet = np.ascontiguousarray(sheet[top : height - bottom, left : width - right])
    if rng.random() < 0.2:
        beds.dust(rng, sheet, unit)
    return scanned(rng, sheet, sheet.shape[1::-1])
