"""`compare` on photographs and simulated second scanners: coverage, detection, false alarms, stains, registration.

SURROGATE_PHOTOGRAPHS=DIR python -m tests.benchmarks.quality_compare [pictures]
"""

from __future__ import annotations

import os
import sys
import tempfile
from pathlib import Path

import numpy as np
import tifffile

from surrogate.condition.change import CompareReport, compare
from surrogate.handover.manifest import write
from surrogate.imaging.read import read_reduced
from surrogate.records import CollectionInfo, Kind, Master, Original, Side, Software
from tests.simulate.second_scan import second_scan

PPI = 150


def main() -> None:
    """Print one line a case."""
    photographs = os.environ.get("SURROGATE_PHOTOGRAPHS")
    if not photographs:
        print("skipped: SURROGATE_PHOTOGRAPHS is not set")
        return
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    files = sorted(Path(photographs).rglob("*.jpg"))
    chosen = np.random.default_rng(11).permutation(len(files))[:count]
    cases = {"no change": (0.0, 0), "5 % lost": (0.05, 0), "10 % lost": (0.1, 0), "stain of 5 mm": (0.0, 30)}
    results: dict[str, list[CompareReport]] = {name: [] for name in cases}
    for number, index in enumerate(chosen):
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            pixels = read_reduced(files[index], 700).pixels
            (folder / "masters").mkdir()
            tifffile.imwrite(folder / "masters/a_r.tif", pixels, photometric="rgb", resolution=(PPI, PPI))
            height, width = pixels.shape[:2]
            master = Master(side=Side.RECTO, file="masters/a_r.tif", sha256="0" * 64, bytes=1, width=width,
                            height=height, bits=8, ppi=PPI, profile=None, scanned_as="a")  # fmt: skip
            original = Original(reference="1", kind=Kind.COLOUR_PRINT, kind_confidence=1.0, masters=[master])
            write(folder, CollectionInfo(name="", credit="", rights=""), Software(name="", version=""), [original], [])
            for case, (loss, stain_px) in enumerate(cases.values()):
                generator = np.random.default_rng(1000 * number + case)
                second_scan(pixels, folder / f"{case}.tif", generator, loss=loss, stain_px=stain_px)
                results[list(cases)[case]].append(compare(folder, "1", folder / f"{case}.tif"))
    for name, reports in results.items():
        names = ("unchanged", "changed", "cannot say")
        verdicts = {verdict: sum(r.verdict == verdict for r in reports) for verdict in names}
        inside = [
            abs(d - cases[name][0]) <= u
            for r in reports
            if r.density_loss and r.uncertainty
            for d, u in zip(r.density_loss, r.uncertainty, strict=True)
        ]
        marked = sum(bool(r.regions) for r in reports)
        print(f"{name}: {verdicts}; truth inside the interval {np.mean(inside):.2f}; with marks {marked}", flush=True)


if __name__ == "__main__":
    main()
