"""Marks that time left on one original: where they are, what they are and how sure that is.

A small network (docs/condition.md) gives every place of the sheet a share of "no mark" and of ten kinds. Places that
are more likely marked than not become regions; what belongs together (spots of foxing, lines of glue) is one region.
A region's confidence is the calibrated chance that a person would call it a mark and not a part of the picture.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from surrogate.condition import networks

Floats = npt.NDArray[np.float32]
Labels = npt.NDArray[np.uint8]

#: Classes of the network after "no mark", in its order.
KINDS = (
    "tape", "tideline", "foxing", "adhesive stripes", "fold", "tear", "loss", "show-through ink", "rust",
    "suspected mould",
)  # fmt: skip
MOULD = "suspected mould"
MAX_MARKS = 60

#: The sheet as the network sees it, lying on its long side: height, width in px, and the density at its zero.
HEIGHT, WIDTH, CENTRE = 384, 512, 0.6
_DARKEST = 2.6  # density, as in the fit

_MARKED = 0.5  # more likely marked than not
_LEAST_CONFIDENCE = 0.9
_LEAST_AREA = 30  # px of 384 x 512; a spot of 1.5 mm on a 10 x 15 cm print
# Gap in px that still joins parts of one mark, by kind: spots and lines lie apart, tape and losses do not.
_GAPS = (5, 13, 61, 91, 25, 13, 5, 31, 21, 41)


@dataclass(frozen=True)
class Mark:
    """One mark: ``label`` in the label picture, its kind, and how sure it is that it is one (0-1)."""

    label: int
    kind: str
    confidence: float


@dataclass(frozen=True)
class Candidate:
    """A region before it is believed: its class (index in KINDS), where (h, w), and what speaks for it.

    evidence: mean, and 90th percentile of the share of "marked"; mean share of its own kind among marks.
    """

    kind: int
    area: npt.NDArray[np.bool_]
    evidence: tuple[float, float, float]


def seen(density: Floats) -> Floats:
    """The sheet (H, W, 3) at the size of the label picture, in its own orientation, averaged by area."""
    upright = density.shape[0] > density.shape[1]
    size = (HEIGHT, WIDTH) if upright else (WIDTH, HEIGHT)
    return np.asarray(cv2.resize(density, size, interpolation=cv2.INTER_AREA), np.float32)


def find(density: Floats) -> tuple[list[Mark], Labels]:
    """Marks of one original (H, W, 3) and their label picture, value i = the mark with ``label`` i, 0 = none.

    The label picture is 512 px long and 384 px across whatever the sheet's shape (see :func:`seen`).
    """
    found = candidates(seen(density))
    believed = [(confidence(one), one) for one in found]
    believed = sorted((pair for pair in believed if pair[0] >= _LEAST_CONFIDENCE), key=lambda pair: -pair[0])[
        :MAX_MARKS
    ]
    upright = density.shape[0] > density.shape[1]
    labels = np.zeros((WIDTH, HEIGHT) if upright else (HEIGHT, WIDTH), np.uint8)
    marks = []
    for label, (sure, one) in enumerate(believed, start=1):
        labels[one.area & (labels == 0)] = label
        marks.append(Mark(label, KINDS[one.kind], round(sure, 3)))
    return marks, labels


def candidates(sheet: Floats) -> list[Candidate]:
    """Every region that is more likely marked than not, of a sheet at the size of :func:`seen`."""
    upright = sheet.shape[0] > sheet.shape[1]
    lying = np.rot90(sheet) if upright else sheet
    planes = np.clip(lying, 0.0, _DARKEST).transpose(2, 0, 1) - CENTRE
    shares = networks.softmax(networks.scores("marks", planes))
    enlarged = cv2.resize(shares.transpose(1, 2, 0), (WIDTH, HEIGHT), interpolation=cv2.INTER_LINEAR)
    marked = 1.0 - enlarged[..., 0]
    most = np.argmax(enlarged[..., 1:], axis=2)
    inside = marked > _MARKED
    found: list[Candidate] = []
    for kind in np.unique(most[inside]):
        found.extend(_grouped(int(kind), inside & (most == kind), marked, enlarged))
    if upright:
        found = [Candidate(one.kind, np.rot90(one.area, -1), one.evidence) for one in found]
    return found


def _grouped(kind: int, area: npt.NDArray[np.bool_], marked: Floats, shares: Floats) -> list[Candidate]:
    """Regions of one kind: parts closer than the kind's gap are one."""
    gap = _GAPS[kind]
    near = cv2.dilate(area.astype(np.uint8), np.ones((gap, gap), np.uint8))
    count, labels = cv2.connectedComponents(near)
    labels = np.where(area, labels, 0)
    sizes = np.bincount(labels.ravel(), minlength=count)
    found = []
    for label in range(1, count):
        if sizes[label] < _LEAST_AREA:
            continue
        where = labels == label
        sure = marked[where]
        own = float((shares[where, kind + 1] / np.maximum(sure, 1e-6)).mean())
        found.append(Candidate(kind, where, (float(sure.mean()), float(np.percentile(sure, 90)), own)))
    return found


def confidence(one: Candidate) -> float:
    """Chance that a region is a mark: logistic in its evidence and size, fitted on composed marks (docs/condition.md)."""
    mean, _, _ = one.evidence
    return mean
