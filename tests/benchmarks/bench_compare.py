"""Speed of `compare` at 28.8 MP (8 x 10 in at 600 ppi), as CPU time and as a ratio to reading both scans whole.

python -m tests.benchmarks.bench_compare
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

import cv2
import numpy as np
import tifffile

sys.path.insert(0, str(Path(__file__).parents[2]))

from surrogate.condition.change import compare
from surrogate.handover.manifest import write
from surrogate.imaging.read import read_reduced
from surrogate.records import CollectionInfo, Kind, Master, Original, Side, Software

SAMPLE = Path(__file__).parents[2] / "sample_scans" / "market stall 1974_r.jpg"
WIDE, HIGH = 6000, 4800


def main() -> None:
    """Print one line: CPU seconds of a comparison of two 28.8 MP scans, and of reading both to the same size."""
    cv2.setNumThreads(1)
    picture = cv2.resize(np.asarray(read_reduced(SAMPLE, 2000).pixels, np.uint8), (WIDE, HIGH))
    turned = cv2.warpAffine(picture, cv2.getRotationMatrix2D((WIDE / 2, HIGH / 2), 1.2, 0.99), (WIDE, HIGH))
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "masters").mkdir()
        for path, pixels in ((folder / "masters/a_r.tif", picture), (folder / "now.tif", turned)):
            tifffile.imwrite(path, pixels, photometric="rgb", resolution=(600, 600), resolutionunit="INCH")
        master = Master(side=Side.RECTO, file="masters/a_r.tif", sha256="0" * 64, bytes=1, width=WIDE, height=HIGH,
                        bits=8, ppi=600.0, profile=None, scanned_as="a")  # fmt: skip
        original = Original(reference="1", kind=Kind.COLOUR_PRINT, kind_confidence=1.0, masters=[master])
        write(folder, CollectionInfo(name="", credit="", rights=""), Software(name="", version=""), [original], [])
        start = time.process_time()
        report = compare(folder, "1", folder / "now.tif")
        spent = time.process_time() - start
        start = time.process_time()
        read_reduced(folder / "masters/a_r.tif", 1400)
        read_reduced(folder / "now.tif", 2800)
        reading = time.process_time() - start
    print(f"compare 28.8 MP: {spent:.1f} s CPU ({report.verdict}), {spent / reading:.1f} times reading both scans")


if __name__ == "__main__":
    main()
