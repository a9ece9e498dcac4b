"""CPU seconds, memory and size of the manifest of 100,000 originals and of the report of 2,000.

Run: ``python tests/benchmarks/bench_handover.py``. Targets: manifest at most 60 s and 500 MB; report below 50 MB.
"""

from __future__ import annotations

import resource
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import handmade
from browser import Browser, chromium_missing

from surrogate.collection import listing
from surrogate.handover import manifest, report
from surrogate.records import Original


def many(first: Original, count: int) -> Iterator[Original]:
    """The same original under ``count`` numbers."""
    for number in range(1, count + 1):
        yield first.model_copy(update={"reference": f"2026.{number // 1000:03}.{number % 1000:04}"})


class Again:
    """Originals that can be gone through more than once without being kept."""

    def __init__(self, first: Original, count: int) -> None:
        self.first, self.count = first, count

    def __iter__(self) -> Iterator[Original]:
        return many(self.first, self.count)


def peak_mb() -> float:
    """Largest resident memory of this process so far, in MB."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def main() -> None:
    """Print the table."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        first = handmade.build(folder, 3).originals[2]
        print(f"{'what':32} {'CPU s':>8} {'peak MB':>8} {'file MB':>8}")
        print(f"{'before':32} {0:8.1f} {peak_mb():8.0f}")
        start = time.process_time()
        manifest.write(folder, handmade.COLLECTION, handmade.SOFTWARE, many(first, 100_000), [])
        size = (folder / "manifest.json").stat().st_size / 1e6
        print(f"{'manifest of 100,000':32} {time.process_time() - start:8.1f} {peak_mb():8.0f} {size:8.1f}")
        start = time.process_time()
        count = sum(1 for _ in listing.Listing(folder))
        print(f"{f'the same read one by one ({count:,})':32} {time.process_time() - start:8.1f} {peak_mb():8.0f}")
        words = {copy.file: handmade.WORDS for copy in first.copies}
        for count in (2_000, 20_000):
            start = time.process_time()
            report.write(folder, handmade.COLLECTION, handmade.SOFTWARE, Again(first, count), [], words)
            size = (folder / "report.html").stat().st_size / 1e6
            label = f"report of {count:,}"
            print(f"{label:32} {time.process_time() - start:8.1f} {peak_mb():8.0f} {size:8.1f}")
        if not chromium_missing():
            with Browser() as browser:
                browser.open(folder / "report.html")
                timing = "return performance.getEntriesByType('navigation')[0].duration"
                print(f"report of 2,000 opens in Chromium in {browser.run(timing) / 1000:.2f} s")


if __name__ == "__main__":
    main()
