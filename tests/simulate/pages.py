"""Scanner beds and album pages composed from pictures, with the corners of every original known exactly."""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np

from simulate import beds, prints
from simulate.beds import BACKGROUNDS, LEAVES, LIDS

ARRANGEMENTS = {
    "apart": 0.34, "single": 0.12, "snug": 0.17, "flush": 0.06, "touching": 0.13, "overlapping": 0.07,
    "leaf on bed": 0.11,
}  # fmt: skip
#: Largest turn in degrees and how often.
TURNS = {0: 0.08, 2: 0.37, 8: 0.22, 20: 0.17, 45: 0.16}


@dataclass
class Page:
    """A composed page: (H, W, 3) uint8 sRGB, the true corners of its originals in px, and how it was made.

    ``background`` is what lies around the originals; originals later in the list lie on top of earlier ones.
    """

    rgb: np.ndarray
    corners: list[np.ndarray]
    background: str
    arrangement: str
    angle: float
    traits: list[set[str]] = field(default_factory=list)


def _within(page, points, reach):
    """Box of the page (left, top, right, bottom) around points."""
    low = np.floor(np.min(points, axis=0) - reach).astype(int)
    high = np.ceil(np.max(points, axis=0) + reach).astype(int)
    return max(low[0], 0), max(low[1], 0), min(high[0], page.shape[1]), min(high[1], page.shape[0])


def _paste(rng, page, sheet, cover, corners, *, shadow, unit):
    """Lay one sheet on the page at its corners (px), with the shadow of its edges."""
    reach = max(0.5, rng.uniform(0.8, 3.5) * unit)
    offset = rng.uniform(-1.0, 1.0, 2) * reach
    left, top, right, bottom = _within(page, corners, 5 * reach + 2)
    if right <= left or bottom <= top:
        return
    h, w = cover.shape
    edge = 2
    sheet = cv2.copyMakeBorder(sheet, edge, edge, edge, edge, cv2.BORDER_REPLICATE)
    cover = cv2.copyMakeBorder(cover, edge, edge, edge, edge, cv2.BORDER_CONSTANT, value=0)
    source = np.array([[0, 0], [w, 0], [w, h], [0, h]], np.float32) + edge - 0.5
    target = (np.asarray(corners) - 0.5 - np.array([left, top])).astype(np.float32)
    matrix = cv2.getPerspectiveTransform(source, target)
    size = (right - left, bottom - top)
    alpha = cv2.warpPerspective(cover, matrix, size, flags=cv2.INTER_LINEAR)
    image = cv2.warpPerspective(sheet, matrix, size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    moved = cv2.warpAffine(alpha, np.array([[1, 0, offset[0]], [0, 1, offset[1]]], np.float32), size)
    part = page[top:bottom, left:right]
    part *= (1 - shadow * cv2.GaussianBlur(moved, (0, 0), reach))[..., None]
    part *= (1 - alpha)[..., None]
    part += image * alpha[..., None]


def _inside(corners, inset, size):
    """Corners moved inward by (left, top, right, bottom) px of a sheet of a size (width, height)."""
    left, top, right, bottom = inset / np.array([size[0], size[1], size[0], size[1]])
    across, down = corners[1] - corners[0], corners[3] - corners[0]
    shares = ((left, top), (1 - right, top), (1 - right, 1 - bottom), (left, 1 - bottom))
    return np.array([corners[0] + x * across + y * down for x, y in shares])


def _photo_corners(rng, page, corners, unit):
    """Paper corners that hold a print, drawn over its own."""
    colour = rng.uniform(15, 60) if rng.random() < 0.6 else rng.uniform(190, 240)
    leg = rng.uniform(0.07, 0.12) * np.hypot(*(corners[1] - corners[0]))
    for place in range(4):
        corner = np.asarray(corners[place])
        along = [np.asarray(corners[(place + step) % 4]) - corner for step in (1, -1)]
        out = -sum(a / np.hypot(*a) for a in along) * rng.uniform(1.5, 3) * unit
        tips = [corner + out] + [corner + a / np.hypot(*a) * leg for a in along]
        cv2.fillConvexPoly(page, np.round(tips).astype(np.int32), (colour,) * 3, cv2.LINE_AA)


def sheet_at(centre, size, angle):
    """Corners (4, 2), clockwise from the top left one, of a sheet turned by an angle in degrees."""
    turn = np.radians(angle)
    axes = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    half = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * np.asarray(size) / 2
    return half @ axes + centre


def _cells(rng, width, height, count):
    columns = {1: 1, 2: 1, 3: 1, 4: 2, 5: 2, 6: 2, 7: 2, 8: 2, 9: 3}[count]
    if width > height:
        columns = {1: 1, 2: 2, 3: 3, 4: 2, 5: 3, 6: 3, 7: 4, 8: 4, 9: 3}[count]
    rows = -(-count // columns)
    cells = [
        (width * (c + 0.5) / columns, height * (r + 0.5) / rows, width / columns, height / rows)
        for r in range(rows)
        for c in range(columns)
    ]
    rng.shuffle(cells)
    return cells[:count]


def _size(rng, limit, angle, fill):
    """Width and height of a sheet that, turned, fits a box."""
    ratio = rng.choice([1.0, 1.25, 1.33, 1.4, 1.5, 1.75])
    ratio = ratio if rng.random() < 0.5 else 1 / ratio
    turn = abs(np.radians(angle))
    across = ratio * np.cos(turn) + np.sin(turn)
    down = ratio * np.sin(turn) + np.cos(turn)
    height = min(limit[0] / across, limit[1] / down) * fill
    return height * ratio, height


def _apart(rng, width, height, angle, count):
    placed = []
    for x, y, w, h in _cells(rng, width, height, count):
        own = angle * rng.uniform(0.6, 1) * rng.choice([-1, 1])
        corners = sheet_at((0, 0), _size(rng, (w, h), own, rng.uniform(0.6, 0.92)), own)
        room = np.array([w, h]) - np.ptp(corners, axis=0)
        placed.append(corners + np.array([x, y]) + room * rng.uniform(-0.42, 0.42, 2))
    return placed


def _single(rng, width, height, angle):
    size = _size(rng, (width, height), angle, rng.uniform(0.45, 0.93))
    corners = sheet_at((0, 0), size, angle)
    low, high = corners.min(0), corners.max(0)
    room = np.array([width, height]) - (high - low)
    return [corners - low + room * rng.uniform(0.08, 0.92, 2)]


def _snug(rng, width, height, angle):
    """One sheet with little of the bed around it, as most scans of single prints are."""
    turn = 0.0 if rng.random() < 0.25 else float(np.clip(angle, -3, 3))
    short = min(width, height)
    if rng.random() < 0.2:
        left = top = right = bottom = short * rng.uniform(0.01, 0.05)
    else:
        left, top, right, bottom = short * rng.uniform(0.006, 0.1, 4)
    room = np.array([width - left - right, height - top - bottom])
    lean = abs(np.sin(np.radians(turn)))
    size = room - lean * room[::-1]
    return [sheet_at(np.array([left, top]) + room / 2, size, turn)]


def _flush(rng, width, height):
    """Laid into a corner of the bed: two sides lie on the frame."""
    size = np.array([width, height]) * rng.uniform(0.5, 0.93, 2)
    corners = sheet_at(size / 2, size, 0)
    corners += (np.array([width, height]) - size) * rng.integers(0, 2, 2)
    return [corners]


def _in_a_row(rng, width, height, angle, gap, own_turn):
    """Two or three sheets in a row or column with a gap between (negative: they overlap), turned together a little."""
    count = int(rng.integers(2, 4))
    along = int(rng.integers(2))
    extent = (width, height)[along] * 0.86 / count
    other = (width, height)[1 - along] * 0.8
    cursor, placed = 0.0, []
    for _ in range(count):
        length, breadth = extent * rng.uniform(0.8, 1.0), min(other, extent * rng.uniform(0.7, 1.5))
        size = (length, breadth) if along == 0 else (breadth, length)
        centre = [0.0, 0.0]
        centre[along] = cursor + length / 2
        centre[1 - along] = rng.uniform(-0.15, 0.15) * breadth
        placed.append(sheet_at(centre, size, own_turn * rng.uniform(-1, 1)))
        cursor += length + gap
    placed = [corners @ _axes(angle) for corners in placed]
    everything = np.concatenate(placed)
    low, high = everything.min(0), everything.max(0)
    fit = min(1.0, *(np.array([width, height]) * 0.97 / (high - low)))
    shift = (np.array([width, height]) - (high - low) * fit) * rng.uniform(0.2, 0.8, 2)
    return [(corners - low) * fit + shift for corners in placed]


def _axes(angle):
    turn = np.radians(angle)
    return np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])


def _places(rng, width, height, arrangement, angle, unit):
    """Corners in px of all originals of a page."""
    if arrangement == "single":
        return _single(rng, width, height, angle)
    if arrangement == "snug":
        return _snug(rng, width, height, angle)
    if arrangement == "flush":
        return _flush(rng, width, height)
    if arrangement == "touching":
        return _in_a_row(rng, width, height, angle, rng.uniform(0, 1.5) * unit, 0.0)
    if arrangement == "overlapping":  # 6 to 22 px of 1600 are 1 to 4 mm on an A4 bed
        return _in_a_row(rng, width, height, np.clip(angle, -20, 20), -rng.uniform(6, 22) * unit, 3.0)
    return _apart(rng, width, height, angle, int(rng.integers(2, 10)))


def _leaf_on_bed(rng, page, width, height, angle, unit):
    """An album leaf smaller than the bed, with originals on it; returns (its paper, their corners)."""
    size = np.array([width, height]) * rng.uniform(0.72, 0.96, 2)
    corners = sheet_at(np.zeros(2), size, rng.uniform(-2, 2))
    room = np.array([width, height]) - np.ptp(corners, axis=0)
    corners = corners - corners.min(0) + room * rng.uniform(-0.05, 1.05, 2)  # up to past the bed's edge
    paper = str(rng.choice(LEAVES))
    shape = (round(size[1]), round(size[0]))
    leaf = beds.ground(rng, shape, paper, unit)
    _paste(rng, page, leaf, np.ones(shape, np.float32), corners, shadow=rng.uniform(0.1, 0.5), unit=unit)
    if rng.random() < 0.3:
        beds.holes(rng, page, corners, unit)
    count = int(rng.choice([1, 1, 2, 3, 4, 5, 6, 8]))
    inside = _single(rng, *(size * 0.9), angle) if count == 1 else _apart(rng, *(size * 0.94), angle, count)
    centre = (size * (0.9 if count == 1 else 0.94)) / 2
    across = (corners[1] - corners[0]) / np.hypot(*(corners[1] - corners[0]))
    axes = np.array([across, [-across[1], across[0]]])
    return paper, [(one - centre) @ axes + corners.mean(0) for one in inside]


def compose(rng, pictures, background=None, arrangement=None, angle=None, long_edge=1600, finer=2):
    """Compose one page.

    Args:
        rng: numpy Generator; the page depends on nothing else.
        pictures: RGB uint8 pictures to draw from.
        background: one of ``BACKGROUNDS``; drawn when None.
        arrangement: one of ``ARRANGEMENTS``; drawn when None.
        angle: largest turn of the originals in degrees; drawn when None.
        long_edge: of the page in px.
        finer: drawn so many times finer and then reduced, so that edges carry partial pixels as a scan's do.

    """
    arrangement = arrangement or str(rng.choice(list(ARRANGEMENTS), p=list(ARRANGEMENTS.values())))
    background = background or str(rng.choice(LIDS if arrangement == "leaf on bed" else BACKGROUNDS))
    if angle is None:
        angle = float(rng.choice(list(TURNS), p=list(TURNS.values())) * rng.uniform(-1, 1))
    short = round(long_edge * rng.uniform(0.68, 0.8))
    if arrangement == "snug":
        short = round(long_edge * rng.uniform(0.58, 0.95))
    height, width = (long_edge, short) if rng.random() < 0.6 else (short, long_edge)
    unit = long_edge * finer / 1600
    h, w = height * finer, width * finer
    page = beds.ground(rng, (h, w), background, unit)
    if arrangement == "leaf on bed":
        background, places = _leaf_on_bed(rng, page, w, h, angle, unit)
    else:
        places = _places(rng, w, h, arrangement, angle, unit)
    if background in LEAVES and arrangement in {"apart", "single", "snug", "leaf on bed"} and rng.random() < 0.45:
        beds.captions(rng, page, places, unit)
    shadow = rng.uniform(0.05, 0.4)
    all_traits, truth = [], []
    for corners in places:
        traits = {str(rng.choice(list(prints.SHEETS), p=list(prints.SHEETS.values())))}
        traits |= {"deckle"} if rng.random() < 0.12 and not traits & prints.PAPERS else set()
        traits |= {"torn"} if rng.random() < 0.3 and traits & prints.PAPERS else set()
        traits |= {"rounded"} if rng.random() < 0.06 else set()
        if background in LEAVES and arrangement in {"apart", "single", "leaf on bed"} and rng.random() < 0.3:
            traits.add("corners")
        size = np.hypot(*(corners[1] - corners[0])), np.hypot(*(corners[3] - corners[0]))
        w_px, h_px = max(8, round(size[0])), max(8, round(size[1]))
        (kind,) = traits & set(prints.SHEETS)
        picture = pictures[rng.integers(len(pictures))]
        sheet = prints.sheet_of(rng, picture, w_px, h_px, kind, unit)
        cover, inset = prints.cover_of(rng, w_px, h_px, unit, traits)
        _paste(rng, page, sheet, cover, corners, shadow=shadow, unit=unit)
        if "corners" in traits:
            _photo_corners(rng, page, corners, unit)
        all_traits.append(traits)
        truth.append(_inside(corners, inset, (w_px, h_px)) / finer)
    if background == "adhesive page":
        beds.under_plastic(rng, page, unit)
    if rng.random() < 0.4:
        beds.dust(rng, page, unit)
    if rng.random() < 0.08:
        beds.end_of_lid(rng, page)
    rgb = scanned(rng, page, (width, height))
    return Page(rgb, truth, background, arrangement, angle, all_traits)


def scanned(rng, page, size):
    """The page as a scanner hands it over: reduced, a little soft, noisy, often through JPEG; (H, W, 3) uint8."""
    if page.shape[1::-1] != tuple(size):
        page = cv2.resize(page, size, interpolation=cv2.INTER_AREA)
    page = cv2.GaussianBlur(page, (0, 0), rng.uniform(0.3, 0.7))
    page += rng.normal(0, rng.uniform(0.4, 2.2), page.shape).astype(np.float32)
    rgb = np.clip(np.round(page), 0, 255).astype(np.uint8)
    if rng.random() < 0.7:
        _, data = cv2.imencode(".jpg", rgb[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, int(rng.integers(75, 97))])
        rgb = np.ascontiguousarray(cv2.imdecode(data, cv2.IMREAD_COLOR)[..., ::-1])
    return rgb
