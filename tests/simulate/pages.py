"""Scanner beds and album pages composed from pictures, with the corners of every original known exactly."""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np

BACKGROUNDS = ("white lid", "grey lid", "black page", "cream page", "adhesive page")
ARRANGEMENTS = ("apart", "single", "flush", "touching", "overlapping")
#: Pages are drawn this many times finer and then reduced, so that edges carry partial pixels as a scan's do.
FINER = 2


@dataclass
class Page:
    """A composed page: (H, W, 3) uint8 sRGB, the true corners of its originals in px, and how it was made."""

    rgb: np.ndarray
    corners: list[np.ndarray]
    background: str
    arrangement: str
    angle: float
    traits: list[set[str]] = field(default_factory=list)


def _field(rng, shape, scale_px, sigma):
    """Smooth random field of the given grain and standard deviation."""
    h, w = shape
    small = rng.normal(size=(max(3, int(h / scale_px) + 2), max(3, int(w / scale_px) + 2))).astype(np.float32)
    out = cv2.resize(small, (w, h), interpolation=cv2.INTER_CUBIC)
    return out * (sigma / max(float(out.std()), 1e-6))


def ground(rng, shape, background):
    """Empty bed or page, (H, W, 3) float32 in sRGB codes."""
    h, w = shape
    if background == "white lid":
        base = np.full(3, rng.uniform(228, 255)) + rng.normal(0, 1.5, 3)
    elif background == "grey lid":
        base = np.full(3, rng.uniform(150, 215)) + rng.normal(0, 2, 3)
    elif background == "black page":
        base = np.full(3, rng.uniform(14, 52)) + np.array([1.0, 0.2, -1.0]) * rng.uniform(0, 5)
    else:
        base = np.array([rng.uniform(222, 246)] * 3) - np.array([0, 1, 3.2]) * rng.uniform(3, 11)
    page = np.empty((h, w, 3), np.float32)
    page[:] = base
    slope = np.linspace(-1, 1, w)[None, :] * rng.normal(0, 1.2) + np.linspace(-1, 1, h)[:, None] * rng.normal(0, 1.2)
    page += slope.astype(np.float32)[..., None]
    if background.endswith("page"):
        page += _field(rng, shape, 3, rng.uniform(0.8, 2.6))[..., None]
        page += _field(rng, shape, 160, rng.uniform(0.3, 1.6))[..., None]
    if background == "adhesive page":
        period = rng.uniform(14, 34) * FINER
        stripes = np.sin(np.arange(h) * 2 * np.pi / period + rng.uniform(0, 6)) ** 3 * rng.uniform(1.5, 4.5)
        page += stripes.astype(np.float32)[:, None, None] * np.array([0.7, 0.9, 1.3], np.float32)
    return np.clip(page, 0, 255)


def _faded(rng, picture):
    picture = picture.astype(np.float32)
    strength = rng.uniform(0, 0.45)
    veil = np.array([rng.uniform(170, 235), rng.uniform(150, 215), rng.uniform(120, 190)], np.float32)
    return picture * (1 - strength) + veil * strength


def _text(rng, width, height):
    """Paper with lines of print: a clipping or a letter."""
    paper = np.array([rng.uniform(205, 240)] * 3) - np.array([0, 1, 3]) * rng.uniform(2, 14)
    sheet = np.empty((height, width, 3), np.uint8)
    sheet[:] = np.round(paper)
    size = rng.uniform(6, 11) * FINER
    words = ["harvest", "of", "the", "parish", "on", "Sunday", "was", "held", "by", "Mrs", "band", "and", "river", "in"]
    y = size * 2
    while y < height - size:
        line = " ".join(rng.choice(words, size=max(2, int(width / size / 3))))
        cv2.putText(
            sheet, line, (int(size), int(y)), cv2.FONT_HERSHEY_COMPLEX, size / 24,
            (50, 46, 44), max(1, int(size / 10)), cv2.LINE_AA,
        )  # fmt: skip
        y += size * 1.55
    sheet[:, int(width - size * 0.8) :] = np.round(paper)
    return sheet.astype(np.float32)


def original(rng, picture, width, height, traits):
    """One original without rotation: (H, W, 3) float32 and its coverage (H, W) float32 in [0, 1]."""
    if "text" in traits:
        sheet = _text(rng, width, height)
    else:
        if (picture.shape[0] > picture.shape[1]) != (height > width):
            picture = np.ascontiguousarray(np.rot90(picture))
        border = round(min(width, height) * rng.uniform(0.03, 0.075)) if "border" in traits else 0
        inner = (width - 2 * border, height - 2 * border)
        scale = max(inner[0] / picture.shape[1], inner[1] / picture.shape[0])
        grown = cv2.resize(picture, None, fx=scale, fy=scale, interpolation=cv2.INTER_CUBIC)
        y, x = (grown.shape[0] - inner[1]) // 2, (grown.shape[1] - inner[0]) // 2
        image = _faded(rng, grown[max(y, 0) :, max(x, 0) :][: inner[1], : inner[0]])
        image = cv2.resize(image, inner)
        sheet = np.empty((height, width, 3), np.float32)
        sheet[:] = np.array([rng.uniform(214, 247)] * 3) - np.array([0, 0.6, 1.8]) * rng.uniform(0, 8)
        sheet[border : border + inner[1], border : border + inner[0]] = image
    cover = np.ones((height, width), np.float32)
    if "deckle" in traits:
        # Cut with a wavy blade: the edge swings about the truth, so the mean edge line is the true one.
        for axis in (0, 1):
            size = sheet.shape[axis]
            other = sheet.shape[1 - axis]
            wave = np.sin(np.arange(other) * 2 * np.pi / (rng.uniform(5, 9) * FINER)) + rng.normal(0, 0.3, other)
            depth = (wave + 1.2) * rng.uniform(0.5, 1.1) * FINER
            index = np.arange(size)[:, None]
            edge = np.clip(index - depth[None, :] + 0.5, 0, 1) * np.clip(size - 0.5 - index - depth[None, ::-1], 0, 1)
            cover = np.minimum(cover, (edge if axis == 0 else edge.T).astype(np.float32))
    return sheet, cover


def _paste(rng, page, sheet, cover, corners, *, shadow, traits):
    """Lay one original on the page at its corners (px of the fine page), with the shadow of its edges."""
    h, w = cover.shape
    edge = 2
    sheet = cv2.copyMakeBorder(sheet, edge, edge, edge, edge, cv2.BORDER_REPLICATE)
    cover = cv2.copyMakeBorder(cover, edge, edge, edge, edge, cv2.BORDER_CONSTANT, value=0)
    source = np.float32([[0, 0], [w, 0], [w, h], [0, h]]) + edge - 0.5
    matrix = cv2.getPerspectiveTransform(source, np.float32(corners) - 0.5)
    size = (page.shape[1], page.shape[0])
    alpha = cv2.warpPerspective(cover, matrix, size, flags=cv2.INTER_LINEAR)
    image = cv2.warpPerspective(sheet, matrix, size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    reach = rng.uniform(0.8, 3.5) * FINER
    offset = rng.uniform(-1.0, 1.0, 2) * reach
    moved = cv2.warpAffine(alpha, np.float32([[1, 0, offset[0]], [0, 1, offset[1]]]), size)
    page *= (1 - shadow * cv2.GaussianBlur(moved, (0, 0), reach))[..., None]
    page *= (1 - alpha)[..., None]
    page += image * alpha[..., None]
    if "corners" in traits:
        colour = rng.uniform(15, 60) if rng.random() < 0.6 else rng.uniform(200, 240)
        leg = rng.uniform(0.07, 0.12) * min(h, w)
        for place in range(4):
            corner = np.asarray(corners[place])
            along = [np.asarray(corners[(place + step) % 4]) - corner for step in (1, -1)]
            out = -sum(a / np.hypot(*a) for a in along) * rng.uniform(1.5, 3) * FINER
            tips = [corner + out] + [corner + a / np.hypot(*a) * leg for a in along]
            cv2.fillConvexPoly(page, np.round(tips).astype(np.int32), (colour,) * 3, cv2.LINE_AA)


def _sheet_at(centre, size, angle):
    turn = np.radians(angle)
    axes = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    half = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * np.asarray(size) / 2
    return half @ axes + centre


def _cells(rng, width, height, count):
    columns = {1: 1, 2: 1, 3: 1, 4: 2, 5: 2, 6: 2}[count]
    if width > height:
        columns = {1: 1, 2: 2, 3: 3, 4: 2, 5: 3, 6: 3}[count]
    rows = -(-count // columns)
    cells = [
        (width * (c + 0.5) / columns, height * (r + 0.5) / rows, width / columns, height / rows)
        for r in range(rows)
        for c in range(columns)
    ]
    rng.shuffle(cells)
    return cells[:count]


def _shape(rng, limit, angle, fill):
    """Width and height of a sheet that, turned, fits a box."""
    ratio = rng.choice([1.0, 1.25, 1.33, 1.4, 1.5, 1.75])
    ratio = ratio if rng.random() < 0.5 else 1 / ratio
    turn = abs(np.radians(angle))
    across = ratio * np.cos(turn) + np.sin(turn)
    down = ratio * np.sin(turn) + np.cos(turn)
    height = min(limit[0] / across, limit[1] / down) * fill
    return height * ratio, height


def _places(rng, width, height, arrangement, angle):
    """Corners (fine px) of all originals of a page and whether the last two overlap."""
    if arrangement == "single":
        size = _shape(rng, (width, height), angle, rng.uniform(0.45, 0.93))
        corners = _sheet_at((0, 0), size, angle)
        low, high = corners.min(0), corners.max(0)
        room = np.array([width, height]) - (high - low)
        return [corners - low + room * rng.uniform(0.08, 0.92, 2)]
    if arrangement == "flush":
        # Laid into a corner of the bed: two sides lie on the frame.
        size = np.array([width, height]) * rng.uniform(0.5, 0.93, 2)
        corners = _sheet_at(size / 2, size, 0)
        if rng.random() < 0.5:
            corners[:, 0] += width - size[0]
        if rng.random() < 0.5:
            corners[:, 1] += height - size[1]
        return [corners]
    count = int(rng.integers(2, 7))
    if arrangement == "apart":
        placed = []
        for x, y, w, h in _cells(rng, width, height, count):
            own = angle * rng.uniform(0.6, 1) * rng.choice([-1, 1])
            size = _shape(rng, (w, h), own, rng.uniform(0.6, 0.92))
            corners = _sheet_at((0, 0), size, own)
            room = np.array([w, h]) - np.ptp(corners, axis=0)
            jitter = room * rng.uniform(-0.42, 0.42, 2)
            placed.append(corners + np.array([x, y]) + jitter)
        return placed
    # Touching or overlapping: two or three in a row or column on one axis, then turned together a little.
    count = min(count, 3)
    along = int(rng.integers(2))
    gap = rng.uniform(0, 1.5) * FINER if arrangement == "touching" else -rng.uniform(6, 22) * FINER
    extent = (width, height)[along] * 0.86 / count
    other = (width, height)[1 - along] * 0.8
    cursor, placed = 0.0, []
    for _ in range(count):
        length, breadth = extent * rng.uniform(0.8, 1.0), min(other, extent * rng.uniform(0.7, 1.5))
        size = (length, breadth) if along == 0 else (breadth, length)
        centre = [0.0, 0.0]
        centre[along] = cursor + length / 2
        centre[1 - along] = rng.uniform(-0.15, 0.15) * breadth
        own = 0.0 if arrangement == "touching" else rng.uniform(-3, 3)
        placed.append(_sheet_at(centre, size, own))
        cursor += length + gap
    turn = np.radians(np.clip(angle, -8, 8))
    axes = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    placed = [corners @ axes for corners in placed]
    everything = np.concatenate(placed)
    low, high = everything.min(0), everything.max(0)
    fit = min(1.0, *(np.array([width, height]) * 0.97 / (high - low)))
    shift = (np.array([width, height]) - (high - low) * fit) * rng.uniform(0.2, 0.8, 2)
    return [(corners - low) * fit + shift for corners in placed]


def compose(rng, pictures, background=None, arrangement=None, angle=None, long_edge=1600):
    """Compose one page.

    Args:
        rng: numpy Generator; the page depends on nothing else.
        pictures: RGB uint8 pictures to draw from.
        background: one of ``BACKGROUNDS``; drawn when None.
        arrangement: one of ``ARRANGEMENTS``; drawn when None.
        angle: largest turn of the originals in degrees; drawn when None.
        long_edge: of the page in px.

    """
    background = background or str(rng.choice(BACKGROUNDS))
    arrangement = arrangement or str(rng.choice(ARRANGEMENTS, p=[0.45, 0.2, 0.08, 0.17, 0.1]))
    if angle is None:
        angle = float(rng.choice([0, 2, 8, 20, 45], p=[0.1, 0.45, 0.2, 0.15, 0.1]) * rng.uniform(-1, 1))
    short = round(long_edge * rng.uniform(0.68, 0.8))
    height, width = (long_edge, short) if rng.random() < 0.6 else (short, long_edge)
    page = ground(rng, (height * FINER, width * FINER), background)
    places = _places(rng, width * FINER, height * FINER, arrangement, angle)
    shadow = rng.uniform(0.05, 0.4)
    all_traits = []
    for corners in places:
        traits = set()
        if rng.random() < 0.12:
            traits.add("text")
        elif rng.random() < 0.5:
            traits.add("border")
        if rng.random() < 0.12 and "text" not in traits:
            traits.add("deckle")
        if background.endswith("page") and arrangement in {"apart", "single"} and rng.random() < 0.3:
            traits.add("corners")
        size = np.hypot(*(corners[1] - corners[0])), np.hypot(*(corners[3] - corners[0]))
        picture = pictures[rng.integers(len(pictures))]
        sheet, cover = original(rng, picture, round(size[0]), round(size[1]), traits)
        _paste(rng, page, sheet, cover, corners, shadow=shadow, traits=traits)
        all_traits.append(traits)
    page = cv2.resize(page, (width, height), interpolation=cv2.INTER_AREA)
    page = cv2.GaussianBlur(page, (0, 0), rng.uniform(0.3, 0.7))
    page += rng.normal(0, rng.uniform(0.4, 2.2), page.shape).astype(np.float32)
    rgb = np.clip(np.round(page), 0, 255).astype(np.uint8)
    if rng.random() < 0.7:
        _, data = cv2.imencode(".jpg", rgb[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, int(rng.integers(75, 97))])
        rgb = np.ascontiguousarray(cv2.imdecode(data, cv2.IMREAD_COLOR)[..., ::-1])
    return Page(rgb, [corners / FINER for corners in places], background, arrangement, angle, all_traits)
