"""Fit how much a region's evidence is worth: ``python -m tests.fit.fit_marks_confidence OUT.json [PICTURES]``.

Regions are found on originals composed by the judge's modules over every second photograph that no network saw
(``SURROGATE_PHOTOGRAPHS``); `quality_condition.py` reports on the others. A region is right when more than half of it
lies on painted marks or it answers one of them, as that report counts (a whole wet corner answers the tideline around
it). Which sheets are striped is asked of the table in use, so run it until nothing changes. Logistic regression, L2, by
Newton's method.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from surrogate.condition import marks
from tests.benchmarks import quality_condition as quality

SOURCES = ("network", "stain map", "crease")
RIDGE = 0.5

Rows = tuple[NDArray[np.float64], NDArray[np.float64]]


def rows(pictures: int) -> dict[str, Rows]:
    """Design (n, 1 + evidence + kinds) and truth (n,) of every region found, by the sign that found it."""
    design: dict[str, list[list[float]]] = {source: [] for source in SOURCES}
    truth: dict[str, list[float]] = {source: [] for source in SOURCES}
    for sheet, painted in quality.marked_originals(pictures, half=0):
        union = np.zeros(sheet.shape[:2], np.uint8)
        for mark in painted:
            union |= mark.area.astype(np.uint8)
        near = cv2.dilate(union, np.ones((7, 7), np.uint8)) > 0
        for one in marks.candidates(sheet):
            kinds = [float(i == one.kind) for i in range(len(marks.KINDS))]
            design[one.source].append([1.0, *one.evidence, *kinds])
            answers = any(
                quality.overlap(mark.area, one.area, line=mark.kind in quality.LINES) >= quality.ANSWERS
                for mark in painted
            )
            truth[one.source].append(float(answers or (one.area & near).sum() > 0.5 * one.area.sum()))
    return {source: (np.array(design[source]), np.array(truth[source])) for source in SOURCES}


def logistic(design: NDArray[np.float64], truth: NDArray[np.float64]) -> NDArray[np.float64]:
    """Weights of an L2-regularised logistic regression."""
    weights = np.zeros(design.shape[1])
    for _ in range(30):
        chance = 1 / (1 + np.exp(-design @ weights))
        slope = design.T @ (truth - chance) - RIDGE * weights
        curve = (design * (chance * (1 - chance))[:, None]).T @ design + RIDGE * np.eye(len(weights))
        weights = weights + np.linalg.solve(curve, slope)
    return weights


def table(found: dict[str, Rows]) -> dict[str, dict[str, object]]:
    """Weights by sign, as `marks.confidence` reads them."""
    out: dict[str, dict[str, object]] = {}
    for source, (design, truth) in found.items():
        weights = [round(float(w), 4) for w in logistic(design, truth)]
        end = len(weights) - len(marks.KINDS)
        out[source] = {"constant": weights[0], "evidence": weights[1:end], "kind": weights[end:]}
    return out


def main() -> None:
    """Fit and write."""
    found = rows(int(sys.argv[2]) if len(sys.argv) > 2 else 220)
    Path(sys.argv[1]).write_text(json.dumps(table(found), indent=1) + "\n", encoding="utf-8")
    for source, (_, truth) in found.items():
        print(f"{source}: {len(truth)} regions, {truth.mean():.2f} of them right")


if __name__ == "__main__":
    main()
