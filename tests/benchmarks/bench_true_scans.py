"""One true run over thousands of tiny scans: does a thousand cost the same at its end as at its start?

python tests/benchmarks/bench_true_scans.py [--scans 1000] [--minutes 25]

Nothing is multiplied here: every scan is another picture, taken in by one worker in one run. After the given minutes
the run is asked to stop, as by Ctrl-C, and what it had done is told. CPU seconds of the program and its processes,
since machines are shared; what the start of the run and its lists cost is left out.
"""

from __future__ import annotations

import argparse
import itertools
import os
import signal
import sys
import tempfile
import threading
from pathlib import Path

import numpy as np
import psutil

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from safety.small import picture

from surrogate.processing import process

#: Parts that the run is told in: the first and the last are compared. The very first scans are left out of them, since
#: beside a handful a new picture has few to be compared with.
PARTS, BEGINNING = 8, 100


def tiny_scans(folder: Path, count: int) -> None:
    """Landscapes of smooth shapes and grain, 140 x 100 px, no two alike, in folders of a thousand."""
    for number in range(count):
        place = folder / f"box {number // 1000:03}"
        place.mkdir(parents=True, exist_ok=True)
        scan = picture(np.random.default_rng(number), faded=0.1 + 0.06 * (number % 10)).reduce(2)
        scan.save(place / f"{number:06} at the quay.jpg", quality=90, dpi=(75, 75))


def cpu_s() -> float:
    """CPU seconds so far of this program, of its children and of theirs, alive or gone."""
    ours = psutil.Process()
    family = [ours, *ours.children(recursive=True)]
    times = [one.cpu_times() for one in family]
    return sum(t.user + t.system + t.children_user + t.children_system for t in times)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--scans", type=int, default=1000)
    parser.add_argument("--minutes", type=float, default=25.0)
    options = parser.parse_args()
    marks: list[float] = []

    def noted(done: int, total: int, aside: int, what: str) -> None:
        marks.extend([cpu_s()] * (done - len(marks)))

    with tempfile.TemporaryDirectory() as folder:
        scans = Path(folder) / "scans"
        tiny_scans(scans, options.scans)
        alarm = threading.Timer(60 * options.minutes, os.kill, (os.getpid(), signal.SIGINT))
        alarm.daemon = True
        alarm.start()
        report = process([scans], Path(folder) / "collection", workers=1, progress=noted)
        alarm.cancel()
    taken = len(report.taken_in)
    aside, left = len(report.set_aside), report.left
    print(f"{options.scans:,} tiny scans given, {taken:,} taken in, {aside} set aside, {left:,} left")
    ends = np.linspace(min(BEGINNING, taken // 4), taken - 1, PARTS + 1).astype(int)
    costs = [1000 * (marks[end] - marks[start]) / (end - start) for start, end in itertools.pairwise(ends)]
    for (start, end), cost in zip(itertools.pairwise(ends), costs, strict=True):
        print(f"scans {start + 1:6,} to {end:6,}: {cost:7.1f} CPU s per 1,000")
    print(f"end over start: {costs[-1] / costs[0]:.2f}")


if __name__ == "__main__":
    main()
