"""Which way up: a page of text on its side is turned where its lines are sure of it, else a turn is suggested."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import cv2
import numpy as np
import numpy.typing as npt

from surrogate.intake import upright
from surrogate.intake.looks import back_likeness
from surrogate.jobs import Job

#: Least likeness to paper with writing on it: fences and blinds in pictures have lines, too. Of 190 photographs none
#: got there together with a turn of more than even confidence; letters and clippings are above 0.7.
_PAPER = 0.5

#: A turn that is less sure than this is not worth a person's time.
_SUGGESTED = 0.5

_TURNS: dict[int, Literal[90, 180, 270]] = {1: 90, 2: 180, 3: 270}


def set_upright(job: Job, rgb: npt.NDArray[np.uint8]) -> tuple[Job, tuple[str, ...]]:
    """The job with the turn that its scan, (H, W, 3) uint8 as its tags have it, needs; and what to say about it.

    Only new scans are turned, where nobody said how; what people decide later stays. When copies are made again, what
    still holds is said again.
    """
    decided = job.decisions
    settled = decided.outlines is not None or (decided.turn and not job.is_master)
    if settled or back_likeness(rgb) < _PAPER:
        return job, ()
    found = upright.suggest(np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY), np.uint8))
    turn = _TURNS.get(found.quarter_turns)
    sure = found.confidence > upright.APPLIED
    if turn is None or found.confidence <= _SUGGESTED:
        return job, ()
    if job.is_master and decided.turn != (turn if sure else 0):  # somebody decided otherwise
        return job, ()
    if not sure:
        words = (
            f"It may lie wrong way up: {found.why} (confidence {found.confidence:.2f}). If so, write {turn} under turn"
        )
        return job, (f"{words} in the caption sheet.",)
    words = (
        f"Turned clockwise by {turn}°, since {found.why} (confidence {found.confidence:.2f}). If that is wrong, take"
    )
    return replace(job, decisions=replace(decided, turn=turn)), (f"{words} the {turn} out of the caption sheet.",)
