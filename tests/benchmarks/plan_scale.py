"""The plan for large collections (docs/scale.md), checked: hours by simulating scans, the catalogue by filling one.

python tests/benchmarks/plan_scale.py [--catalogue 10000 100000]

Hours: workers take scans one after the other; each reads its scan over shared storage, whose throughput all workers
share, computes, writes, and now and then dies and has its scan done again. The formula of the plan,
`max(N c / W, N b / B)`, stands beside. Catalogue: rows as `process` writes them, in one transaction for each side; then
the manifest, as JSON and as a table, written from all of them.
"""

from __future__ import annotations

import argparse
import heapq
import random
import resource
import tempfile
import time
from collections import deque
from dataclasses import dataclass, replace
from pathlib import Path

from surrogate import exporting
from surrogate.collection import paths
from surrogate.collection.catalogue import Catalogue, CopyRow, FileRow, OriginalRow, open_file
from surrogate.collection.settings import Settings
from surrogate.handover import manifest
from surrogate.processing import IN_FLIGHT
from surrogate.records import (
    Caption,
    CollectionInfo,
    Condition,
    Copy,
    Fade,
    Fidelity,
    Grade,
    Kind,
    Master,
    Region,
    Side,
    Stain,
    Use,
)

#: What is measured on a print with three marks.
CONDITION = Condition(
    side=Side.RECTO,
    fade=Fade(
        grade=Grade.MODERATE, density_min=(0.11, 0.14, 0.19), density_max=(1.61, 1.52, 1.4),
        density_loss=(0.31, 0.12, 0.22), uncertainty=(0.08, 0.07, 0.08),
    ),
    stain=Stain(
        grade=Grade.SLIGHT, area_fraction=0.012, yellowness_index=14.2, base_lab=(88.1, 1.2, 11.3),
        regions=[Region(kind="spot", box_mm=(12, 30.5, 4.1, 3.9), area_fraction=0.004, delta_e=7.7, confidence=1)] * 3,
    ),
)  # fmt: skip
FIDELITY = Fidelity(clipped_black=0.0001, clipped_white=0.0002, largest_gain=1.62, structure=0.9987)


@dataclass(frozen=True)
class Plan:
    """What a collection holds and what works on it. Prices are assumptions, to be replaced by your own."""

    masters: int
    workers: int
    storage_mb_s: float  # what all workers together read and write
    scan_mb: float = 86.4  # 8x10 in at 600 ppi, 24 bits, uncompressed
    made_mb: float = 1.6  # copies and records of one original, measured on 28.8-megapixel scans
    cpu_s: float = 1.3  # of one worker for one such scan, measured without the start of the run
    writer_s: float = 0.015  # of the one that writes the catalogue, for one scan; measured: 0.012
    deaths: float = 0.001  # share of scans in the middle of which a worker is lost
    places: int = 3  # where everything is kept: two disks here, one elsewhere
    disk_price_tb_year: float = 60.0  # ASSUMPTION: euro for a terabyte and year, disk, power and replacement
    core_price_hour: float = 0.05  # ASSUMPTION: euro for a core and hour

    @property
    def moved_mb(self) -> float:
        """Megabytes that one scan moves: read once and kept once (and measured while in memory), what is made."""
        return 2 * self.scan_mb + self.made_mb

    @property
    def hours(self) -> float:
        """The slowest of computing, moving and writing down."""
        each = max(self.cpu_s / self.workers, self.moved_mb / self.storage_mb_s, self.writer_s)
        return self.masters * each / 3600

    @property
    def terabytes(self) -> float:
        """In one place."""
        return self.masters * (self.scan_mb + self.made_mb) / 1e6

    @property
    def money_once(self) -> float:
        """For computing."""
        return self.hours * self.workers * self.core_price_hour

    @property
    def money_year(self) -> float:
        """For keeping."""
        return self.terabytes * self.places * self.disk_price_tb_year


def simulated_hours(plan: Plan, seed: int = 1) -> float:
    """Hours by going through the scans one by one; sizes and times scatter, storage serves one scan at a time.

    As in `process`, scans are entered in order, and none begins before the one a window earlier is entered. Above
    200,000 scans a part stands for the whole.
    """
    rng = random.Random(seed)
    count = min(plan.masters, 200_000)
    free = [0.0] * plan.workers  # when each worker is free
    window = IN_FLIGHT * plan.workers
    storage, entered = 0.0, deque([0.0] * window, maxlen=window)  # until when storage is busy; when scans were entered
    for _ in range(count):
        size = rng.lognormvariate(-0.125, 0.5)  # mean 1: prints of all sizes
        begun = max(heapq.heappop(free), entered[0])
        tries = 2 if rng.random() < plan.deaths else 1
        for _ in range(tries):
            storage = max(storage, begun) + plan.moved_mb * size / plan.storage_mb_s
            begun = max(storage, begun + plan.cpu_s * size * rng.uniform(0.8, 1.2))
        entered.append(max(entered[-1], begun) + plan.writer_s)
        heapq.heappush(free, begun)
    return entered[-1] / 3600 * plan.masters / count


def fill(catalogue: Catalogue, first: int, count: int) -> None:
    """Originals as `process` leaves them: a front with viewing copy and thumbnail each."""
    for item in range(first, first + count):
        reference, side = f"2026.001.{item:04}", Side.RECTO
        with catalogue.transaction():
            _fill_one(catalogue, reference, side, item)


def _fill_one(catalogue: Catalogue, reference: str, side: Side, item: int) -> None:
    sha = f"{item:064x}"
    file = paths.master(reference, side, "tif")
    master = Master(
        side=side, file=file, sha256=sha, bytes=86_400_000, width=6000, height=4800, bits=8, ppi=600, profile="sRGB",
        scanned_as=f"scan{item}.tif",
    )  # fmt: skip
    catalogue.put_original(OriginalRow(reference, Kind.COLOUR_PRINT, 0.98, "picture"))
    catalogue.put_master(reference, master, complete=True)
    catalogue.put_caption(reference, side, Caption(title=f"Quay {item}"), {"title": f"Quay {item}", "file": file})
    catalogue.add_condition(reference, CONDITION, software="plan", master_sha256=sha)
    rows = []
    for use in (Use.VIEWING, Use.THUMBNAIL):
        name, recipe = paths.copy(reference, side, None, use), paths.recipe(reference, side, None, Use.VIEWING)
        made = Copy(
            use=use, side=side, part=None, file=name, sha256=sha, width=2048, height=1638, recipe=recipe,
            master_sha256=sha, fidelity=FIDELITY if use is Use.VIEWING else None,
        )  # fmt: skip
        catalogue.put_copy(CopyRow(made, reference, "0" * 16, "0" * 16))
        rows += [FileRow(name, sha, 900_000), FileRow(recipe, sha, 20_000)]
    catalogue.put_files(reference, rows)
    catalogue.put_source(f"/scans/box {item // 500}/scan{item}.tif", 86_400_000, item, reference, side)
    catalogue.add_event(reference, "taken in", f"scan{item}.tif (recto)")


def measured(sizes: list[int]) -> None:
    """Fill a catalogue to each size and say what a row costs and how fast it is found."""
    print("originals   bytes each   CPU ms to write one   ms to find one   s to go through all   s to export   peak MB")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "catalogue.sqlite"
        there = 0
        for size in sorted(sizes):
            with open_file(path) as catalogue:
                started = time.process_time()
                fill(catalogue, there + 1, size - there)
                write_ms = 1000 * (time.process_time() - started) / (size - there)
                rng = random.Random(size)
                some = [rng.randrange(1, size + 1) for _ in range(1000)]
                started = time.process_time()
                for item in some:
                    assert catalogue.source(f"/scans/box {item // 500}/scan{item}.tif") is not None
                    assert catalogue.master_with(f"{item:064x}") is not None
                find_ms = time.process_time() - started
                started = time.process_time()
                assert sum(len(catalogue.copies(row.reference)) for row in catalogue.originals()) == 2 * size
                through_s = time.process_time() - started
                started = time.process_time()
                info = CollectionInfo(name="plan", credit="", rights="")
                originals = exporting.Originals(Path(folder), Settings(), catalogue)
                manifest.write(Path(folder), info, exporting.SOFTWARE, originals, [])
                export_s = time.process_time() - started
            there = size
            peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
            print(
                f"{size:9,} {path.stat().st_size / size:12,.0f} {write_ms:21.2f} {find_ms:15.2f} {through_s:21.1f} "
                f"{export_s:13.1f} {peak:9.0f}"
            )


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--catalogue", nargs="*", type=int, default=[1000, 10_000, 100_000])
    options = parser.parse_args()
    night = Plan(masters=100_000, workers=8, storage_mb_s=2000)
    plans = {
        "100,000, 2 cores, a hard disk": replace(night, workers=2, storage_mb_s=150),
        "100,000, 8 cores, solid-state disks": night,
        "100,000, 4 x 8 cores, network of 10 Gbit/s": replace(night, workers=32, storage_mb_s=1000),
        "10 million, 4 x 8 cores, 10 Gbit/s": replace(night, masters=10_000_000, workers=32, storage_mb_s=1000),
        "10 million, 20 x 8 cores, 10 collections": replace(
            night, masters=10_000_000, workers=160, storage_mb_s=10_000, writer_s=night.writer_s / 10
        ),
    }
    print("plan                                             TB  hours  simulated  ratio  once EUR  a year EUR")
    for name, plan in plans.items():
        simulated = simulated_hours(plan)
        print(
            f"{name:45} {plan.terabytes:6,.1f} {plan.hours:6,.1f} {simulated:10,.1f} {simulated / plan.hours:6.2f} "
            f"{plan.money_once:9,.0f} {plan.money_year:11,.0f}"
        )
    measured(options.catalogue)


if __name__ == "__main__":
    main()
