"""Is there writing on a page? Strokes are told from folds, foxing, fibres and noise by their shape."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt
from skimage.filters import threshold_otsu

Floats = npt.NDArray[np.float32]
Mask = npt.NDArray[np.bool_]

#: A letter or a written word is at least so large, in px of a picture of about one megapixel.
LEAST_PX = 6

#: Half the greatest width of a stroke as a share of its letter's size: a round spot has 0.5, a letter 0.05-0.25.
THICKEST = 0.3

#: Letters are counted at these multiples of the step that just shows above paper. At one step, creased, foxed and
#: taped blank pages of both simulators gave up to 21 letter-like marks, from twice the step on 3 at most (66 pages);
#: writing of five times the paper's noise still shows. Close type runs together at low steps, and parts at high ones.
LEVELS = (2.0, 4.0, 8.0)

#: Letters that make a text: blank pages gave up to 3 at these levels, a note of two words 6 and more.
LEAST_LETTERS = 5

#: So many that nothing else needs to be looked at.
MANY_LETTERS = 60

#: A mark thicker than this is no stroke: half its greatest width, in px of a picture of about one megapixel.
THICK_PX = 6.0

#: Shreds of a fold lie so near to it, in px.
LINE_MARGIN_PX = 12

#: A thick mark with less red than this share of its blue density is stain or tape; print and shadow are neutral.
YELLOWER = 0.6


def most_letters(residual: Floats, middle: float, step: float) -> int:
    """Letter-like marks darker than paper, less those lighter by as much, at the best of ``LEVELS``.

    ``residual`` (H, W) density above paper, lightly blurred; ``middle`` its level over paper and ``step`` what just
    shows above it.
    """
    most = 0
    for level in LEVELS:
        dark, light = letters(residual, middle + level * step)
        most = max(most, dark - light)
        if most >= MANY_LETTERS:
            break
    return most


def edge_of_strokes(residual: Floats, ink: float, spread: float) -> tuple[float, float]:
    """(density at which the edge of strokes lies, how broken the strokes are, 0 to 1).

    ``residual`` (H, W) density above paper, ``ink`` density of well-covered ink, ``spread`` the paper's noise. Pen and
    print cover evenly: their edge lies at half the ink. Pencil lies on the hills of the paper only, so that half of the
    darkest is too much; there Otsu's threshold (1979), which weighs what is dark against what is light, holds the
    strokes together. Unevenness inside strokes tells the two apart, and where it cannot, Otsu's threshold on the paper
    made even still finds no less than it finds on the scan.
    """
    soft = cv2.GaussianBlur(residual, (0, 0), 0.8)
    limited = np.clip(residual, -0.3, ink)
    found = float(threshold_otsu(limited)) if limited.min() < limited.max() else 0.5 * ink
    if found < max(4 * spread, 0.15 * ink):  # noise rules the page: only what lies about the strokes is weighed
        strokes = (soft > max(0.2 * ink, 2.5 * spread)).astype(np.uint8)
        near = limited[cv2.dilate(strokes, np.ones((5, 5), np.uint8)).astype(bool)]
        found = float(threshold_otsu(near)) if near.size and near.min() < near.max() else 0.45 * ink
    uneven = _unevenness(residual, soft, ink, spread)
    # tests/fit and tests/simulate: pen 0.07 to 0.2, print 0.1 to 0.3, pencil 0.2 to 0.4; print is darker than graphite
    broken = float(np.clip((uneven - 0.19) / 0.05, 0, 1) * np.clip((0.75 - ink) / 0.1, 0, 1))
    edge = broken * found + (1 - broken) * max(0.48 * ink, found)
    # a tenth lower still where strokes are surely broken and noise is far (measured: +0.01 in F-measure)
    clear = float(np.clip((uneven - 0.24) / 0.05, 0, 1) * np.clip((edge / max(spread, 1e-4) - 6) / 6, 0, 1))
    return edge * (1 - 0.1 * clear * broken), broken


def _unevenness(residual: Floats, soft: Floats, ink: float, spread: float) -> float:
    """Deviation of density in the middle of strokes, beyond paper's noise, as a share of its median; 0 if too thin."""
    inside = cv2.distanceTransform((soft > 0.25 * ink).astype(np.uint8), cv2.DIST_L2, 5) >= 2.5
    values = residual[inside]
    if values.size < 50:
        return 0.0
    return float(np.sqrt(max(float(values.var()) - spread**2, 0.0)) / max(float(np.median(values)), 1e-3))


def letters(residual: Floats, reach: float) -> tuple[int, int]:
    """Number of letter-like marks darker, and lighter, than the paper by ``reach``.

    ``residual`` (H, W) density above paper, lightly blurred. Paper and noise make as many light ones as dark.
    """
    dark, light = without_lines(residual > reach), without_lines(residual < -reach)
    return int(_letters(_Marks(dark)).sum()), int(_letters(_Marks(light)).sum())


def without_lines(mask: Mask) -> Mask:
    """The mask without folds and rules and what lies close to them: marks that run over a third of the page.

    Gaps of 5 px are closed first; those between words are wider, so lines of type do not join.
    """
    closed = cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_CLOSE, np.ones((5, 5), np.uint8)).astype(bool)
    marks = _Marks(closed)
    width, height = marks.stats[:, cv2.CC_STAT_WIDTH], marks.stats[:, cv2.CC_STAT_HEIGHT]
    small, large = np.minimum(width, height), np.maximum(width, height)
    line = (large > marks.whole / 3) & (small < marks.whole / 20)
    line[0] = False
    beside = np.ones((2 * LINE_MARGIN_PX + 1, 2 * LINE_MARGIN_PX + 1), np.uint8)
    away = cv2.dilate(line[marks.labels].astype(np.uint8), beside) == 0
    return np.asarray(mask & away, dtype=np.bool_)


def certainty(found: int) -> float:
    """0 where so few letter-like marks could be dirt, 1 where they are a text; tells how near noise one may cut."""
    return float(np.clip((found - LEAST_LETTERS) / 30, 0, 1))


def sorted_marks(ink: Mask, above: Floats) -> tuple[Mask, int, Mask]:
    """Dark marks sorted: the letter-like ones, how many they are, and thick yellow ones such as tape and foxing.

    ``ink`` (H, W) dark marks; ``above`` (H, W, 3) density above paper.
    """
    marks = _Marks(ink)
    stroke = np.concatenate([[False], _letters(marks)])
    red, blue = (_sums(marks, above[..., i]) for i in (0, 2))
    stain = (marks.thick > THICK_PX) & (red < YELLOWER * blue)
    stain[0] = False
    return stroke[marks.labels], int(stroke.sum()), stain[marks.labels]


class _Marks:
    """Connected marks of a mask with their measures; index 0 is the ground."""

    def __init__(self, mask: Mask) -> None:
        marks = mask.astype(np.uint8)
        _, self.labels, self.stats, _ = cv2.connectedComponentsWithStats(marks, connectivity=8)
        inside = cv2.distanceTransform(marks, cv2.DIST_L2, 3)
        self.thick = np.zeros(len(self.stats), dtype=np.float32)
        np.maximum.at(self.thick, self.labels[mask], inside[mask])
        self.whole = max(mask.shape)


def _sums(marks: _Marks, values: Floats) -> npt.NDArray[np.float64]:
    return np.asarray(
        np.bincount(marks.labels.ravel(), weights=values.ravel(), minlength=len(marks.stats)), dtype=np.float64
    )


def _letters(marks: _Marks) -> Mask:
    """Which of the marks 1.. look like letters: a fold or a rule is long and thin or crosses the page, a spot round."""
    width = marks.stats[1:, cv2.CC_STAT_WIDTH].astype(np.float64)
    height = marks.stats[1:, cv2.CC_STAT_HEIGHT].astype(np.float64)
    small, large = np.minimum(width, height), np.maximum(width, height)
    sized = (small >= LEAST_PX) & (small > 0.15 * large) & (large < marks.whole / 2)
    return np.asarray(sized & (marks.thick[1:] < THICKEST * large))
