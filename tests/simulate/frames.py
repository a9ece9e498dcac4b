"""Scans that one original fills to the edge: nothing on them may be cut off or taken apart."""

from __future__ import annotations

import cv2
import numpy as np

from simulate import beds, prints
from simulate.pages import scanned

#: Kinds of full frame and how often each is drawn.
FRAMES = {
    "picture": 0.22, "border": 0.15, "ruled": 0.08, "instant": 0.05, "card": 0.06, "text": 0.04, "letter": 0.1,
    "clipping": 0.07, "strip": 0.03, "views": 0.04, "pictures within": 0.05, "gallery": 0.04, "facade": 0.04,
    "poster": 0.03,
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


def _ruled(rng, picture, width, height, unit):
    """A picture printed on a card or a page with even margins: thin rules around it, words under it."""
    sheet = np.empty((height, width, 3), np.float32)
    sheet[:] = prints.paper(rng) * rng.uniform(0.85, 1.0)
    short = min(width, height)
    left = right = round(short * rng.uniform(0.03, 0.11))
    top = round(short * rng.uniform(0.03, 0.11))
    bottom = top if rng.random() < 0.4 else round(short * rng.uniform(0.06, 0.2))
    inner = (width - left - right, height - top - bottom)
    sheet[top : top + inner[1], left : left + inner[0]] = prints.aged(rng, prints.filling(picture, *inner))
    ink = (rng.uniform(20, 130),) * 3
    for _ in range(int(rng.integers(0, 3))):
        away = round(rng.uniform(0.0, 0.7) * min(left, top))
        low, high = (left - away, top - away), (left + inner[0] + away, top + inner[1] + away)
        cv2.rectangle(sheet, low, high, ink, max(1, round(rng.uniform(0.6, 3) * unit)), cv2.LINE_AA)
    if rng.random() < 0.7:
        size = rng.uniform(0.5, 1.6) * unit
        place = (left + round(inner[0] * rng.uniform(0, 0.5)), top + inner[1] + round(rng.uniform(24, 40) * size))
        font = int(rng.choice([cv2.FONT_HERSHEY_TRIPLEX, cv2.FONT_HERSHEY_SCRIPT_COMPLEX, cv2.FONT_HERSHEY_DUPLEX]))
        beds.write(sheet, str(rng.choice(beds.WORDS)), place, font, size, ink[0], max(1, round(size)))
    return sheet


def _facade(rng, pictures, width, height, unit):
    """A house straight on: rough wall, perhaps of bricks, with rows of windows and doors, before a street or garden."""
    wall = beds.ground(rng, (height, width), str(rng.choice(beds.BACKGROUNDS)), unit)
    for grain in (2.5, rng.uniform(8, 40), rng.uniform(100, 400)):
        wall += beds.smooth_field(rng, (height, width), grain * unit, rng.uniform(3, 10))[..., None]
    if rng.random() < 0.5:
        course, joint = rng.uniform(8, 24) * unit, rng.uniform(6, 30) * rng.choice([-1, 1])
        for number, y in enumerate(np.arange(0, height, course).astype(int)):
            wall[y : y + max(1, round(unit))] += joint
            for x in np.arange((number % 2) * course, width, 2 * course).astype(int):
                wall[y : y + round(course), x : x + max(1, round(unit))] += joint
    columns, rows = int(rng.integers(1, 6)), int(rng.integers(1, 4))
    share, frame, pane = rng.uniform(0.3, 0.75, 2), rng.uniform(20, 245), rng.uniform(5, 160)
    thick, bars = max(2, round(rng.uniform(3, 16) * unit)), int(rng.integers(0, 3))
    for row in range(rows):
        for column in range(columns):
            w, h = (round(side * part) for side, part in zip((width / columns, height / rows), share, strict=True))
            x, y = round((column + 0.5) * width / columns - w / 2), round((row + 0.5) * height / rows - h / 2)
            h = height - y if row == rows - 1 and rng.random() < 0.3 else h  # a door stands on the ground
            seen = prints.filling(pictures[rng.integers(len(pictures))], w, h) * rng.uniform(0, 0.5)  # mirrored
            wall[y : y + h, x : x + w] = pane + seen - seen.mean()
            cv2.rectangle(wall, (x, y), (x + w, y + h), (frame,) * 3, thick, cv2.LINE_AA)
            for bar in range(1, bars + 1):
                middle, level = x + w * bar // (bars + 1), y + h * bar // (bars + 1)
                cv2.line(wall, (middle, y), (middle, y + h), (frame,) * 3, max(1, thick // 2), cv2.LINE_AA)
                if bar == 1:
                    cv2.line(wall, (x, level), (x + w, level), (frame,) * 3, max(1, thick // 2), cv2.LINE_AA)
    if rng.random() < 0.7:
        ground = round(rng.uniform(0.1, 0.4) * height)
        wall[-ground:] = prints.filling(pictures[rng.integers(len(pictures))], width, height)[-ground:]
    return prints.aged(rng, np.clip(wall, 0, 255))


def _poster(rng, picture, width, height, unit):
    """A picture with large words printed over it or on a band."""
    sheet = np.ascontiguousarray(prints.aged(rng, prints.filling(picture, width, height)))
    if rng.random() < 0.5:
        low = round(rng.uniform(0, 0.8) * height)
        sheet[low : low + round(rng.uniform(0.1, 0.3) * height)] = rng.uniform(0, 255, 3)
    for _ in range(int(rng.integers(1, 4))):
        size = rng.uniform(1.5, 6) * unit
        place = (round(rng.uniform(0, 0.4) * width), round(rng.uniform(0.15, 0.95) * height))
        ink = float(rng.choice([rng.uniform(0, 60), rng.uniform(200, 255)]))
        beds.write(sheet, str(rng.choice(beds.WORDS)), place, cv2.FONT_HERSHEY_TRIPLEX, size, ink, max(1, round(size)))
    return sheet


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
    elif kind == "ruled":
        sheet = _ruled(rng, picture, width, height, unit * 1.5)
    elif kind == "facade":
        sheet = _facade(rng, pictures, width, height, unit)
    elif kind == "poster":
        sheet = _poster(rng, picture, width, height, unit)
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
