"""Whether a scan is the other side of a leaf, and where each of its points lies: found by what shines through.

The ink of the back, mirrored, is sought in what is left of the front once its own ink is masked: at four turns, some
degrees askew, at every move (Fourier correlation). The best place is then refined tile by tile. What lies where it
should has one sharp peak of correlation; anything else, lines of type that happen to run alike among them, does about
as well a few pixels beside. That ratio decides.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np
import numpy.typing as npt
from scipy import fft

from surrogate.recovery.paper_background import Paper, soften
from surrogate.recovery.paper_strokes import without_lines

Floats = npt.NDArray[np.float32]
Array = npt.NDArray[np.float64]

#: Least ratio of the correlation at the place found to the best one elsewhere: on pages of tests/fit backs that were
#: found had 1.95 and more, backs of other leaves 1.33 at most; leaves creased crosswise alike reached 1.47.
CLEARLY = 1.75

#: Long side of the pictures that are searched: lines of type of a page are then some 10 px apart.
_SEARCH_PX = 640

#: How far sheets lie askew on a scanner, in degrees to either side, and how finely it is tried: half a step moves the
#: end of a page by 2 px of the search.
_ASKEW, _ASKEW_STEP = 3.0, 0.75

#: A sheet may lie this share of its long side away from where the other side lay.
_FARTHEST = 0.12

#: Detail between two blurs is compared: finer is noise, coarser is stain. First that of lines, then that of letters
#: (px of the search; px of a picture of about one megapixel).
_LINES, _LETTERS = (1.2, 14.0), (1.0, 6.0)

#: Show-through is at most so dark; what is darker is the front's own ink.
_MOST = 0.3

#: Refining: tiles along each side, and how far (px) a tile may move.
_TILES = ((1, 10), (2, 10), (3, 8), (4, 6))

#: The peak is what lies within this many px of the place, elsewhere what lies beyond the second, up to the third.
_AT, _BESIDE, _AROUND = 2, 6, 60

#: This share of the long side at the rim is left out: edges of paper and scanner lie alike on any two scans.
_RIM = 0.015


@dataclass(frozen=True)
class Match:
    """``way``: pixels of the front to pixels of the back, (2, 3). ``clarity``: peak against the best elsewhere."""

    way: Array
    clarity: float

    @property
    def accepted(self) -> bool:
        """Whether the back is the other side of the front beyond doubt."""
        return self.clarity >= CLEARLY


def sought(cover: Floats) -> Floats:
    """What of a back's ink is looked for: no folds and rules, and nothing at the rim; (H, W) 0 to 1."""
    kept = without_lines(cover > 0)
    rim = round(_RIM * max(cover.shape))
    kept[:rim], kept[-rim:], kept[:, :rim], kept[:, -rim:] = False, False, False, False
    return np.asarray(cover * kept, np.float32)


def search(front: Paper, cover: Floats, scale: float) -> Match | None:
    """Seek a back under a front. None where there is nothing to seek.

    ``cover`` (H, W): the back's ink, 0 to 1, as :func:`sought` gives it. ``scale``: pixels of the back to one of the
    front, within 3 %.
    """
    if np.count_nonzero(cover) < 500:  # a few letters at most
        return None
    shape = front.residual.shape
    shrink = min(1.0, _SEARCH_PX / max(shape))
    size = fft.next_fast_len(int(max(shape) * shrink * (1 + _FARTHEST)), real=True)
    lay = _to_middle(shape, size, shrink)
    backs = list(_laid(cover, size, shrink / scale))
    found = None
    for values, weight in _fronts(front):
        placed = _detail(_centred(soften(values, 0.5 / shrink), size, lay), _centred(weight, size, lay), *_LINES)
        spectrum = fft.rfft2(placed)
        _, (x, y), way = max(((*_peak(spectrum * other, size), way) for way, other in backs), key=lambda each: each[0])
        start = np.linalg.inv(way) @ _moved(-x, -y) @ lay
        refined = _refined(values, weight, cover, start)
        match = Match(refined[:2], _clarity(values, weight, cover, refined))
        if found is None or match.clarity > found.clarity:
            found = match
        if found.accepted:
            break
    return found


def _fronts(page: Paper) -> list[tuple[Floats, Floats]]:
    """(density above paper, weight) of a front: with its own ink masked, then as it is.

    Where the front is blank, or fainter than what shines through, its "own ink" is the show-through itself.
    """
    limited = np.clip(page.residual, -_MOST, _MOST)
    whole = np.ones_like(limited)
    if page.ink_density == 0:
        return [(limited, whole)]
    own = cv2.dilate((page.residual > page.edge).astype(np.uint8), np.ones((5, 5), np.uint8))
    return [(limited, 1 - own.astype(np.float32)), (limited, whole)]


def _detail(values: Floats, weight: Floats, fine: float, coarse: float) -> Floats:
    """Detail of a picture between two blurs where ``weight`` (0 to 1) lets it count, 0 elsewhere; of unit energy."""

    def mean(sigma: float) -> Floats:
        return np.asarray(soften(values * weight, sigma) / np.maximum(soften(weight, sigma), 1e-3), np.float32)

    flat = (mean(fine) - mean(coarse)) * weight
    return np.asarray(flat / max(float(np.linalg.norm(flat)), 1e-9), np.float32)


def _laid(cover: Floats, size: int, scale: float) -> list[tuple[Array, npt.NDArray[np.complexfloating]]]:
    """(pixels of the back to those of a square, spectrum of the back laid there, conjugate) of every turn tried."""
    height, width = (max(1, round(side * scale)) for side in cover.shape)
    small = np.asarray(cv2.resize(cover, (width, height), interpolation=cv2.INTER_AREA), np.float32)
    detail = _detail(small, np.ones_like(small), *_LINES)  # a blur is the same whichever way it is turned
    ratio = np.array([[width / cover.shape[1], 0, 0], [0, height / cover.shape[0], 0], [0, 0, 1]])
    to_small = _moved(-0.5, -0.5) @ ratio @ _moved(0.5, 0.5)
    laid = []
    for quarter in (0, 90, 180, 270):
        for askew in np.arange(-_ASKEW, _ASKEW + 0.01, _ASKEW_STEP):
            way = _to_middle(small.shape, size, 1.0, quarter + askew, mirrored=True)
            laid.append((way @ to_small, np.conj(fft.rfft2(_centred(detail, size, way)))))
    return laid


def _centred(values: Floats, size: int, matrix: Array) -> Floats:
    return np.asarray(cv2.warpAffine(values, matrix[:2], (size, size), flags=cv2.INTER_LINEAR), np.float32)


def _moved(x: float, y: float) -> Array:
    return np.array([[1, 0, x], [0, 1, y], [0, 0, 1]], np.float64)


def _to_middle(
    shape: tuple[int, ...], size: int, scale: float, degrees: float = 0.0, *, mirrored: bool = False
) -> Array:
    """(3, 3) that mirrors, scales and turns a picture about its middle, and puts it into the middle of a square."""
    turn = np.deg2rad(degrees)
    about = np.array([[np.cos(turn), -np.sin(turn), 0], [np.sin(turn), np.cos(turn), 0], [0, 0, 1]])
    flip = np.diag([-scale if mirrored else scale, scale, 1.0])
    middle = (size - 1) / 2
    return np.asarray(_moved(middle, middle) @ about @ flip @ _moved(-(shape[1] - 1) / 2, -(shape[0] - 1) / 2))


def _peak(product: npt.NDArray[np.complexfloating], size: int) -> tuple[float, tuple[int, int]]:
    """The largest correlation within reach, and the move (x, y) that gives it."""
    reach = int(_FARTHEST * _SEARCH_PX)
    near = _near(fft.irfft2(product, (size, size)), reach)
    y, x = np.unravel_index(int(np.argmax(near)), near.shape)
    return float(near[y, x]), (int(x) - reach, int(y) - reach)


def _near(surface: Floats, reach: int) -> Floats:
    """The part of a correlation surface that lies within ``reach`` of no move, that in the middle."""
    return np.roll(surface, (reach, reach), axis=(0, 1))[: 2 * reach + 1, : 2 * reach + 1]


def _correlated(one: Floats, other: Floats, reach: int) -> Floats:
    """Correlation of two pictures of one size at every move up to ``reach``: (2 reach + 1) squared."""
    size = [fft.next_fast_len(side + reach, real=True) for side in one.shape]
    return _near(fft.irfft2(fft.rfft2(one, size) * np.conj(fft.rfft2(other, size)), size), reach)


def _laid_over(cover: Floats, way: Array, shape: tuple[int, ...]) -> Floats:
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    return np.asarray(cv2.warpAffine(cover, way[:2], (shape[1], shape[0]), flags=flags), np.float32)


def _refined(values: Floats, weight: Floats, cover: Floats, start: Array) -> Array:
    """Moves of ever more tiles, each counted by how sharp its peak is, joined into one move of the whole leaf."""
    one = _detail(values, weight, *_LETTERS)
    found = start
    for tiles, reach in _TILES:
        laid = _laid_over(cover, found, values.shape)
        two = _detail(laid, np.ones_like(laid), *_LETTERS)
        rows, columns = (np.linspace(0, side, tiles + 1).astype(int) for side in values.shape)
        seen = [
            ((left + right - 1) / 2, (top + bottom - 1) / 2, *move)
            for top, bottom in pairwise(rows)
            for left, right in pairwise(columns)
            if (move := _tile_move(_correlated(one[top:bottom, left:right], two[top:bottom, left:right], reach)))
        ]
        if seen:
            found = found @ _joined(np.array(seen), values.shape)
    return found


def _tile_move(near: Floats) -> tuple[float, float, float] | None:
    """(x, y, trust) of a tile's best move; None where it has no peak of its own."""
    reach = near.shape[0] // 2
    y, x = (int(i) for i in np.unravel_index(int(np.argmax(near)), near.shape))
    if not (0 < y < 2 * reach and 0 < x < 2 * reach):
        return None
    peak = float(near[y, x])
    rest = near.copy()
    rest[max(0, y - 3) : y + 4, max(0, x - 3) : x + 4] = -1
    trust = peak - max(float(rest.max()), 0.0)
    if trust <= 0:
        return None

    def between(before: float, after: float) -> float:  # top of the parabola through three neighbours
        return 0.5 * (before - after) / min(before - 2 * peak + after, -1e-9)

    dx = between(float(near[y, x - 1]), float(near[y, x + 1]))
    dy = between(float(near[y - 1, x]), float(near[y + 1, x]))
    return x + dx - reach, y + dy - reach, trust


def _joined(seen: Array, shape: tuple[int, ...]) -> Array:
    """The move (3, 3) that agrees with the tiles' own, least squares.

    One tile can say where the leaf lies, three how it is turned and scaled, eight how it is slanted. Corners that say
    "as before" with a small voice keep what the tiles leave open where it was. Tiles in disagreement lose their say.
    """
    x, y, dx, dy, trust = seen.T
    trust = trust / trust.max()
    if len(seen) < 3:
        return _moved(-np.average(dx, weights=trust), -np.average(dy, weights=trust))
    corners = np.array([(0, 0), (shape[1], 0), (0, shape[0]), (shape[1], shape[0])], np.float64)
    here = np.vstack([np.c_[x, y], corners])
    there = np.vstack([np.c_[x - dx, y - dy], corners])
    quiet = np.full(4, 0.02 * trust.sum() / 4)
    step = np.eye(3)
    for _ in range(3):
        voices = np.sqrt(np.concatenate([trust, quiet]))[:, None]
        step = _affine(here, there, voices) if len(seen) >= 8 else _similar(here, there, voices)
        off = np.linalg.norm(np.c_[x, y] @ step[:2, :2].T + step[:2, 2] - there[:-4], axis=1)
        trust = seen[:, 4] / seen[:, 4].max() / (1 + off**2)
    return step


def _affine(here: Array, there: Array, voices: Array) -> Array:
    solution = np.linalg.lstsq(voices * np.c_[here, np.ones(len(here))], voices * there, rcond=None)[0]
    return np.vstack([solution.T, [0, 0, 1]])


def _similar(here: Array, there: Array, voices: Array) -> Array:
    x, y = here.T
    one, none = np.ones(len(here)), np.zeros(len(here))
    design = np.vstack([voices * np.c_[x, -y, one, none], voices * np.c_[y, x, none, one]])
    a, b, u, v = np.linalg.lstsq(design, (voices * there).T.ravel(), rcond=None)[0]
    return np.array([[a, -b, u], [b, a, v], [0, 0, 1]])


def _clarity(values: Floats, weight: Floats, cover: Floats, way: Array) -> float:
    """Correlation at the place found against the best elsewhere."""
    laid = _laid_over(cover, way, values.shape)
    near = _correlated(_detail(values, weight, *_LETTERS), _detail(laid, np.ones_like(laid), *_LETTERS), _AROUND)
    at = slice(_AROUND - _AT, _AROUND + _AT + 1)
    beside = slice(_AROUND - _BESIDE, _AROUND + _BESIDE + 1)
    peak = float(near[at, at].max())
    rest = near.copy()
    rest[beside, beside] = 0
    return peak / max(float(rest.max()), 1e-9)
