"""Is there writing on a page? Strokes are told from folds, foxing, fibres and noise by their shape."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float32]
Mask = npt.NDArray[np.bool_]

#: A letter or a written word is at least so large, in px of a picture of about one megapixel.
LEAST_PX = 6

#: Half the greatest width of a stroke as a share of its letter's size: a round spot has 0.5, a letter 0.05-0.25.
THICKEST = 0.3

#: Letters that make a text: creased, foxed blank pages of the simulators gave up to 7, the shortest note 26.
LEAST_LETTERS = 10


#: A mark thicker than this is no stroke: half its greatest width, in px of a picture of about one megapixel.
THICK_PX = 6.0

#: Shreds of a fold lie so near to it, in px.
LINE_MARGIN_PX = 12

#: A thick mark with less red than this share of its blue density is stain or tape; print and shadow are neutral.
YELLOWER = 0.6


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
