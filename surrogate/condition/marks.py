"""Marks that time left on one original: where they are, what they are and how sure that is.

A small network (docs/condition.md) gives every place of the sheet a share of "no mark" and of ten kinds. Places that
are more likely marked than not become regions; what belongs together (spots of foxing, lines of glue) is one region.
A region's confidence is the calibrated chance that a person would call it a mark and not a part of the picture.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from surrogate.condition import signs
from surrogate.imaging import networks

Floats = npt.NDArray[np.float32]
Labels = npt.NDArray[np.uint8]
Mask = npt.NDArray[np.bool_]

#: Classes of the network after "no mark", in its order.
KINDS = (
    "tape", "tideline", "foxing", "adhesive stripes", "fold", "tear", "loss", "show-through ink", "rust",
    "suspected mould",
)  # fmt: skip
MOULD = "suspected mould"
MAX_MARKS = 60
_SAME = 0.5  # share of a region on a surer one of its kind from which both are one mark

#: The sheet as the network sees it, lying on its long side: height, width in px, and the density at its zero.
HEIGHT, WIDTH, CENTRE = 384, 512, 0.6
_MODEL = Path(__file__).with_name("marks_model.onnx")
_DARKEST = 2.6  # density, as in the fit

_TAPE, _TIDELINE, _FOXING, _STRIPES, _FOLD, _RUST = (
    KINDS.index(kind) for kind in ("tape", "tideline", "foxing", "adhesive stripes", "fold", "rust")
)
_STAINS = (_TAPE, _TIDELINE, _FOXING, _RUST)

_MARKED = 0.5  # more likely marked than not
#: Share of "marked" from which the outline of these runs: at 0.5 it is a fifth too large (measured where the confidence
#: was fitted: median error of area 0.18, 0.19, 0.30 at 0.5; 0.08, 0.11, 0.09 at 0.7).
_OUTLINE = 0.7
_BROAD = tuple(KINDS.index(kind) for kind in ("adhesive stripes", "tear", "suspected mould", "rust"))
#: Chosen on the originals that the confidence was fitted on: there 0.05 false regions on a clean one.
_LEAST_CONFIDENCE = 0.7
_LEAST_IF_STRIPED = 0.6  # on writing paper true ones read 0.66 to 0.9
_LEAST_STRIPED = 0.02  # of the sheet; a print on a self-stick page carries its lines from edge to edge
_LEAST_CREASE = 0.015  # density; fainter lines are not seen by eye either
_LEAST_AREA = 30  # px of 384 x 512; a spot of 1.5 mm on a 10 x 15 cm print
_SPOT_AREA = 260  # px; 5 mm across on a 10 x 15 cm print
_LARGEST_SPOT = 800  # px; 9 mm across: the largest spots of a foxed sheet, or two that touch
_SPOTS = 3  # so many spots together are foxing, whatever one alone may be
# Gap in px that still joins parts of one mark, by kind: spots and lines lie apart, tape and losses do not.
_GAPS = (5, 13, 301, 91, 25, 13, 5, 31, 21, 41)


@dataclass(frozen=True)
class Mark:
    """One mark: ``label`` in the label picture, its kind, and how sure it is that it is one (0-1)."""

    label: int
    kind: str
    confidence: float


@dataclass(frozen=True)
class Candidate:
    """A region before it is believed: its class (index in KINDS), where (h, w), and what speaks for it.

    source: which sign found it ("network", "stain map", "crease"). evidence: what `confidence` weighs, as named there.
    """

    kind: int
    area: Mask
    source: str
    evidence: tuple[float, ...]


def seen(density: Floats) -> Floats:
    """The sheet (H, W, 3) at the size of the label picture, in its own orientation, averaged by area."""
    upright = density.shape[0] > density.shape[1]
    size = (HEIGHT, WIDTH) if upright else (WIDTH, HEIGHT)
    return np.asarray(cv2.resize(density, size, interpolation=cv2.INTER_AREA), np.float32)


def find(density: Floats) -> tuple[list[Mark], Labels]:
    """Marks of one original (H, W, 3) and their label picture, value i = the mark with ``label`` i, 0 = none.

    The label picture is 512 px long and 384 px across whatever the sheet's shape (see :func:`seen`).
    """
    return find_on(seen(density))


def find_on(sheet: Floats) -> tuple[list[Mark], Labels]:
    """The same for a sheet at the size of :func:`seen`."""
    found = candidates(sheet)
    believed = [(confidence(one), one) for one in found if is_mark(one)]
    # glue lines run over everything: what lies under them is outlined first, or they would cover it
    believed = sorted(believed, key=lambda pair: (pair[1].kind == _STRIPES, -pair[0]))[:MAX_MARKS]
    labels = np.zeros(sheet.shape[:2], np.uint8)
    marks: list[Mark] = []
    for sure, one in believed:
        kind, label = KINDS[one.kind], len(marks) + 1
        told = [mark.label for mark in marks if mark.kind == kind]
        if np.isin(labels[one.area], told).mean() > _SAME:
            continue  # two signs found one mark
        labels[one.area & (labels == 0)] = label
        marks.append(Mark(label, kind, round(sure, 3)))
    return marks, labels


def candidates(sheet: Floats) -> list[Candidate]:
    """Everything that may be a mark, of a sheet at the size of :func:`seen`.

    Lines of glue run over everything else that happened to a sheet, so other marks are looked for again without them.
    """
    found = _at_first_look(sheet)
    lines = [one for one in found if one.kind == _STRIPES and is_mark(one)]
    if not lines:
        return found
    cleaned = signs.without_lines(sheet, np.any([one.area for one in lines], axis=0))
    return lines + [one for one in _at_first_look(cleaned) if one.kind != _STRIPES]


def _at_first_look(sheet: Floats) -> list[Candidate]:
    """What the network and the signs see on a sheet.

    On grey pictures and paper stains are taken from the stain map and only named by the network; creases are measured;
    the rest, and all marks of colour prints, are the network's.
    """
    shares = _shares(sheet)
    rest, spread = signs.excess(sheet)
    grey = spread < signs.GREY_SPREAD
    facts = _Facts(shares, rest, spread)
    found = _by_network(facts, skipped=_STAINS if grey else ())
    if grey:
        found += _by_stain_map(facts, [one.area for one in found if one.kind == _STRIPES])
    for score, area in signs.creases(sheet):
        if score > _LEAST_CREASE:
            found.append(Candidate(_FOLD, area, "crease", facts.evidence(area, _FOLD, score)))
    return found


@dataclass(frozen=True)
class _Facts:
    """What is known of one sheet: class shares (h, w, 11), stain map (h, w) and the map's spread."""

    shares: Floats
    rest: Floats
    spread: float

    def evidence(self, area: Mask, kind: int, crease: float = 0.0) -> tuple[float, ...]:
        """Numbers for `confidence`, in the order of its weights: see `_FEATURES` of the fit."""
        share = self.shares[area]
        marked = 1.0 - share[:, 0]
        y, x = np.nonzero(area)
        edge = y.min() <= 2 or x.min() <= 2 or y.max() >= area.shape[0] - 3 or x.max() >= area.shape[1] - 3
        signal = float(np.median(self.rest[area])) / max(self.spread, 0.004)
        return (
            float(marked.mean()),
            float(np.percentile(marked, 90)),
            float(share[:, kind + 1].mean() / max(float(marked.mean()), 1e-6)),
            float(np.log(len(y) / 200.0)),
            float(np.clip(signal, -5.0, 25.0)) / 10.0,
            float(min(self.spread, 0.15)) * 10.0,
            float(crease) * 20.0,
            float(edge),
        )


def _shares(sheet: Floats) -> Floats:
    """Class shares (h, w, 11) of the network at the sheet's size and orientation."""
    upright = sheet.shape[0] > sheet.shape[1]
    lying = np.rot90(sheet) if upright else sheet
    planes = np.clip(lying, 0.0, _DARKEST).transpose(2, 0, 1) - CENTRE
    shares = networks.softmax(networks.scores(_MODEL, planes))
    enlarged = cv2.resize(shares.transpose(1, 2, 0), (WIDTH, HEIGHT), interpolation=cv2.INTER_LINEAR)
    return np.ascontiguousarray(np.rot90(enlarged, -1) if upright else enlarged, np.float32)


def _by_network(facts: _Facts, skipped: tuple[int, ...]) -> list[Candidate]:
    """Regions that the network holds for more likely marked than not."""
    inside = facts.shares[..., 0] < 1.0 - _MARKED
    most = np.argmax(facts.shares[..., 1:], axis=2)
    return [
        Candidate(int(kind), _outlined(facts, area, int(kind)), "network", facts.evidence(area, int(kind)))
        for kind in np.unique(most[inside])
        if kind not in skipped
        for area in _grouped(inside & (most == kind), _GAPS[kind])
    ]


def _outlined(facts: _Facts, area: Mask, kind: int) -> Mask:
    """The region without its unsure rim, for kinds that the network draws too broad; whole if little would be left."""
    core = area & (facts.shares[..., 0] < 1.0 - _OUTLINE)
    return core if kind in _BROAD and core.sum() >= _LEAST_AREA else area


def _by_stain_map(facts: _Facts, striped: list[Mask]) -> list[Candidate]:
    """Stains of a grey picture: shape tells tape and spots, the network the rest."""
    stained = signs.stains(facts.rest, facts.spread)
    for area in striped:
        stained &= cv2.dilate(area.astype(np.uint8), np.ones((9, 9), np.uint8)) == 0
    small, found = np.zeros_like(stained), []
    for part in _grouped(stained, 5):
        if part.sum() < _SPOT_AREA and not _is_long(part):
            small |= part
            continue
        area = _filled(part)
        kind = _TAPE if _is_strip(area) else _named(facts.shares[area], (_TAPE, _TIDELINE, _RUST, _FOXING))
        if kind == _FOXING and part.sum() < _LARGEST_SPOT and not _is_long(part):
            small |= area
            continue
        found.append(Candidate(kind, area, "stain map", facts.evidence(area, kind)))
    for area in _grouped(small, _GAPS[_FOXING]):
        parts = cv2.connectedComponents(area.astype(np.uint8))[0] - 1
        kind = _FOXING if parts >= _SPOTS else _named(facts.shares[area], (_FOXING, _RUST))
        found.append(Candidate(kind, area, "stain map", facts.evidence(area, kind)))
    return found


def _named(shares: Floats, kinds: tuple[int, ...]) -> int:
    return kinds[int(np.argmax([shares[:, kind + 1].mean() for kind in kinds]))]


def _filled(area: Mask) -> Mask:
    """The region without its small holes: writing under tape."""
    return np.asarray(cv2.morphologyEx(area.astype(np.uint8), cv2.MORPH_CLOSE, np.ones((7, 7), np.uint8)) > 0)


def _is_strip(area: Mask) -> bool:
    """A filled rectangle at any angle, large enough for tape."""
    points = cv2.findNonZero(area.astype(np.uint8))
    _, (width, height), _ = cv2.minAreaRect(points)
    return bool(len(points) > 0.004 * area.size and len(points) > 0.72 * (width + 1) * (height + 1))


def _is_long(area: Mask) -> bool:
    """Four times as long as it is wide at least: a line and no spot."""
    _, (width, height), _ = cv2.minAreaRect(cv2.findNonZero(area.astype(np.uint8)))
    return bool(max(width, height) + 1 > 4 * (min(width, height) + 1))


def _grouped(area: Mask, gap: int) -> list[Mask]:
    """Regions of a mask, parts closer than ``gap`` px taken together; specks are left out."""
    near = cv2.dilate(area.astype(np.uint8), np.ones((gap, gap), np.uint8))
    count, labels = cv2.connectedComponents(near)
    labels = np.where(area, labels, 0)
    sizes = np.bincount(labels.ravel(), minlength=count)
    return [labels == label for label in range(1, count) if sizes[label] >= _LEAST_AREA]


def is_mark(one: Candidate) -> bool:
    """Whether a region is sure enough to be reported; of glue stripes only what covers a good part of the sheet, but
    sooner.
    """
    if one.kind == _STRIPES:
        return bool(one.area.mean() >= _LEAST_STRIPED) and confidence(one) >= _LEAST_IF_STRIPED
    return confidence(one) >= _LEAST_CONFIDENCE


def confidence(one: Candidate) -> float:
    """Chance that a region is a mark: logistic in its evidence, one for each sign; fitted on composed marks."""
    table = _weights()[one.source]
    total = table["constant"] + table["kind"][one.kind]
    total += sum(w * x for w, x in zip(table["evidence"], one.evidence, strict=True))
    return float(1.0 / (1.0 + np.exp(-total)))


@lru_cache(maxsize=1)
def _weights() -> dict[str, Any]:
    text = files("surrogate.condition").joinpath("marks_confidence.json").read_text(encoding="utf-8")
    table: dict[str, Any] = json.loads(text)
    return table
