"""Does a scan cost the same in a large collection as in an empty one, and what does a run on a finished one cost?

python tests/benchmarks/bench_many.py [--originals 10000] [--scans 30]

The large collection is made from a small one (see many.py); the scans taken into it are real work. CPU seconds of the
program and all its processes; what a run costs however many scans it takes in (its lists) is left out.
"""

from __future__ import annotations

import argparse
import json
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from bench_process import cpu_and_peak
from many import multiplied, small_scans

SOURCES = Path(__file__).parent.parent / "simulate" / "sources"
TEMPLATES = 5
#: Originals in the small collection: enough that a new picture has six likely ones to be compared with, as in
#: the large one.
SOME = 100
FEW = 2


def run(scans: Path, collection: Path) -> tuple[float, float, float]:
    """(CPU seconds, wall seconds, peak MB) of a run."""
    started = time.monotonic()
    cpu, peak = cpu_and_peak(
        [sys.executable, "-m", "surrogate", "process", str(scans), "--collection", str(collection), "--workers", "1"]
    )
    return cpu, time.monotonic() - started, peak


def per_scan(scans: Path, collection: Path, count: int, first: int) -> float:
    """CPU seconds for each new scan: a run that takes in ``FEW`` and one that takes in ``count`` more, compared."""
    small_scans(scans, SOURCES, FEW, first)
    few, _, _ = run(scans, collection)
    small_scans(scans, SOURCES, count, first + FEW)
    many, _, _ = run(scans, collection)
    return (many - few) / (count - FEW)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--originals", type=int, default=10_000)
    parser.add_argument("--scans", type=int, default=22)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        scans, collection = Path(folder) / "scans", Path(folder) / "collection"
        small_scans(scans, SOURCES, TEMPLATES)
        run(scans, collection)
        small, small_from = Path(folder) / "small", Path(folder) / "small scans"
        shutil.copytree(collection, small)
        small_from.mkdir()
        multiplied(small, small_from, SOME)
        at_start = per_scan(Path(folder) / "fresh", small, options.scans, 10_000)
        multiplied(collection, scans, options.originals)
        run(scans, collection)  # writes the lists for the first time
        cpu, wall, peak = run(scans, collection)
        print(f"{options.originals:,} originals, nothing new: {1000 * cpu / options.originals:.2f} ms CPU and "
              f"{1000 * wall / options.originals:.2f} ms wall for each, peak {peak:.0f} MB")  # fmt: skip
        shown = subprocess.run(
            [sys.executable, "-m", "surrogate", "process", str(scans), "--collection", str(collection), "--json"],
            capture_output=True, text=True, check=True,
        )  # fmt: skip
        told = json.loads(shown.stdout)
        assert (told["originals"], told["updated"], told["taken_in"]) == (options.originals, [], []), told["updated"][
            :3
        ]
        late = Path(folder) / "late"
        at_end = per_scan(late, collection, options.scans, 10_000)
        print(f"CPU for each new scan: {at_start:.3f} s beside {SOME} originals, {at_end:.3f} s beside "
              f"{options.originals:,}: {at_end / at_start:.2f}")  # fmt: skip


if __name__ == "__main__":
    main()
