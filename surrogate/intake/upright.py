"""Which way up a page of text lies, from its lines alone.

Lines of print make stripes across the page, so the ink summed along the right direction swings most. Which end is the
top follows from the letters: in Latin script more strokes rise above the small letters than hang below (b d f h k l t
and capitals against g j p q y), so ink thins out more slowly above a line than below it. Pictures without lines of
text get no suggestion.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

#: Suggestions at least this sure may be applied without asking.
APPLIED = 0.9
_EDGE = 1200


@dataclass(frozen=True)
class Suggestion:
    """Turn the picture clockwise by ``quarter_turns`` x 90° to set it upright; ``confidence`` 0 to 1."""

    quarter_turns: int
    confidence: float
    why: str


NONE = Suggestion(0, 0.0, "no lines of text to judge by")


def suggest(grey: npt.NDArray[np.uint8]) -> Suggestion:
    """Suggest how to turn a page, (H, W) uint8 grey with dark ink on light paper, long edge about 1000 px or more."""
    factor = min(1.0, _EDGE / max(grey.shape))
    small = cv2.resize(grey, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA).astype(np.float32)
    paper = cv2.GaussianBlur(cv2.dilate(small, np.ones((15, 15), np.uint8)), (0, 0), 10)
    ink = np.clip((paper - small) / np.maximum(paper, 1) - 0.15, 0, 1)
    share = float((ink > 0.1).mean())
    if not 0.01 <= share <= 0.35:
        return NONE
    lying, standing = _stripes(ink.T), _stripes(ink)
    if max(lying, standing) < 0.35:
        return NONE
    sideways = lying > standing
    ratio = max(lying, standing) / max(min(lying, standing), 1e-3)
    lines = np.rot90(ink) if sideways else ink
    votes = _votes_for_top(lines)
    total = len(votes)
    if total < 6 or ratio < 1.3:
        return NONE
    up = int((votes > 0).sum())
    wins = max(up, total - up)
    # Sign test: how far the votes lie from a coin's.
    certainty = float(np.clip((wins - total / 2) / (1.5 * np.sqrt(total) / 2 + 1e-9) / 2, 0, 1))
    confidence = round(0.5 + 0.48 * certainty * float(np.clip((ratio - 1) / 0.8, 0, 1)), 3)
    upside_down = up < total - up
    # rot90 turned the page anticlockwise once: three clockwise quarter turns, or one if that is upside down.
    turns = (1 if upside_down else 3) if sideways else (2 if upside_down else 0)
    return Suggestion(turns, confidence, f"{wins} of {total} lines of text say so")


def _stripes(ink: npt.NDArray[np.float32]) -> float:
    """Swing of the ink summed along rows against its mean, in vertical bands, so that a slight turn does not blur."""
    swings = []
    for band in np.array_split(ink, 6, axis=1):
        rows = band.mean(axis=1)
        filled = rows[cv2.GaussianBlur(rows[:, None], (1, 1), 0)[:, 0] >= 0]
        fine = filled - cv2.GaussianBlur(filled[:, None], (0, 0), 25)[:, 0]
        swings.append(float(fine.std() / max(filled.mean(), 1e-4)))
    return float(np.median(swings))


def _votes_for_top(ink: npt.NDArray[np.float32]) -> npt.NDArray[np.float64]:
    """For every line in every band: ink above the body of the line less ink below it."""
    votes = []
    for band in np.array_split(ink, 6, axis=1):
        rows = cv2.GaussianBlur(band.mean(axis=1)[:, None], (0, 0), 0.7)[:, 0].astype(np.float64)
        level = float(np.percentile(rows, 90))
        body = rows > 0.5 * level
        starts = np.flatnonzero(body[1:] & ~body[:-1]) + 1
        ends = np.flatnonzero(~body[1:] & body[:-1]) + 1
        for start in starts:
            later = ends[ends > start]
            if not later.size:
                continue
            end = int(later[0])
            tall = end - start
            reach = max(2, round(0.6 * tall))
            if tall < 3 or start - reach < 0 or end + reach > rows.size:
                continue
            above, below = rows[start - reach : start].sum(), rows[end : end + reach].sum()
            if above + below > 0.02 * rows[start:end].sum():
                votes.append((above - below) / (above + below))
    return np.array(votes)
