"""Several originals scanned again in one session: what the scanner does to all of them is told by the others."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from surrogate.condition.change import Judged
from surrogate.condition.change_tones import Tones
from surrogate.condition.change_verdict import critical, spread, strongest

Array = npt.NDArray[np.float64]

#: Fewer others than this do not tell the scanner: one that has changed must not move their median (judgement).
FEWEST_OTHERS = 5


def against_others(members: Sequence[Judged]) -> list[Judged]:
    """Each original's loss and base less the median of the others, where at least five others were measured.

    ``members`` are of one sort (colour prints, or silver and paper), told by the base, from one scanner then and one
    now. What all have lost alike is lost with the scanner; where that is more than scanners are assumed to differ,
    ``shared`` says so.
    """
    measured = [(number, one.tones) for number, one in enumerate(members) if one.tones is not None]
    if len(measured) <= FEWEST_OTHERS:
        return list(members)
    told = list(members)
    shared = _shared([tones for _, tones in measured])
    for number, tones in measured:
        others = [(other, members[place].base) for place, other in measured if place != number]
        loss = tones.loss - np.median([other.loss for other, _ in others], axis=0)
        base = members[number].base - np.median([level for _, level in others], axis=0)
        told[number] = replace(
            members[number], tones=Tones(loss, tones.covariance), base=base, evidence="session", shared=shared
        )
    return told


def _shared(tones: Sequence[Tones]) -> bool:
    """Whether the median loss of all passes what the scanners alone would show."""
    loss: Array = np.median([one.loss for one in tones], axis=0)
    covariance = spread(np.median([one.covariance for one in tones], axis=0), "base")
    return strongest(loss, covariance)[0] > critical(covariance)
