"""The format zoo through the command, and seeded damage through the guarded workers.

Run: python tests/benchmarks/quality_formats.py [MUTATIONS] [MUTATIONS THROUGH THE COMMAND]

No mutation may end the run, hang it, be lost, or take more than 1.5 GB. A decoder that dies, hangs or asks for too
much does so in a worker; such files are counted apart.
"""

import csv
import json
import subprocess
import sys
import tempfile
import time
from collections import Counter, defaultdict
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from threading import Event, Thread

import psutil

sys.path.insert(0, str(Path(__file__).parents[1]))

import format_zoo
import mutations

from surrogate import running
from surrogate.errors import ScanSetAside
from surrogate.imaging import read

#: What a worker's loss looks like in a reason.
LOST = ("crash", "more than the", "ended by the system", "GB of memory")


@contextmanager
def watched_memory() -> Iterator[list[float]]:
    """Largest resident memory of any child so far, in GB."""
    largest, stop = [0.0], Event()

    def watch() -> None:
        while not stop.wait(0.05):
            for child in psutil.Process().children(recursive=True):
                try:
                    largest[0] = max(largest[0], child.memory_info().rss / 1e9)
                except psutil.Error:
                    continue

    thread = Thread(target=watch)
    thread.start()
    try:
        yield largest
    finally:
        stop.set()
        thread.join()


def through_the_command(scans: Path, collection: Path) -> tuple[int, set[str], dict[str, str]]:
    """(exit status, names taken in, names set aside with their reason)."""
    done = subprocess.run(
        [sys.executable, "-m", "surrogate", "process", str(scans), "--collection", str(collection), "--workers", "2"],
        capture_output=True,
        text=True,
        check=False,
    )
    if "Traceback" in done.stderr:
        print(done.stderr)
    manifest = json.loads((collection / "manifest.json").read_text(encoding="utf-8"))
    taken = {master["scanned_as"] for one in manifest["originals"] for master in one["masters"]}
    with (collection / "set_aside.csv").open(encoding="utf-8-sig", newline="") as sheet:
        aside = {row["file"]: row["reason"] for row in csv.DictReader(sheet)}
    return done.returncode, taken, aside


def zoo_figures(root: Path) -> None:
    scans = root / "zoo"
    scans.mkdir()
    entries = format_zoo.entries()
    for entry in entries:
        entry.write(scans / entry.name)
    status, taken, aside = through_the_command(scans, root / "zoo collection")
    same = {name for name, reason in aside.items() if "same file" in reason}
    good = len(taken) + len(same)
    print(f"valid files of the zoo: {len(entries)}, processed {good} ({good / len(entries):.3f}), exit {status}")
    for name in sorted(aside.keys() - same)[:10]:
        print(f"  set aside: {name}: {aside[name]}")


def mutation_figures(root: Path, count: int) -> None:
    folder = root / "damaged"
    folder.mkdir()
    results: dict[str, Counter[str]] = defaultdict(Counter)
    told: list[str] = []
    unexpected = 0
    started = time.monotonic()
    slowest = 0.0
    with watched_memory() as largest, running.executor(2) as (pool, _):
        waiting = []

        def settle() -> None:
            nonlocal slowest, unexpected
            path, kind, begun, future = waiting.pop(0)
            try:
                future.result()
                outcome = "read"
            except ScanSetAside as problem:
                lost = any(word in problem.reason for word in LOST)
                outcome = "worker lost" if lost else "set aside"
                if lost:
                    told.append(f"{path.name} ({kind}): {problem.reason}")
                if not problem.reason or not problem.advice:
                    unexpected += 1
            except Exception as problem:  # noqa: BLE001  (that is what is counted)
                outcome = "unexpected"
                unexpected += 1
                told.append(f"{path.name} ({kind}): {type(problem).__name__}: {problem}")
            slowest = max(slowest, time.monotonic() - begun)
            results[path.suffix][outcome] += 1
            results[kind][outcome] += 1
            results["all"][outcome] += 1
            path.unlink()

        for path, kind in mutations.damaged(folder, count):
            waiting.append((path, kind, time.monotonic(), pool.submit(read.read_reduced, path, 700)))
            if len(waiting) > 8:
                settle()
        while waiting:
            settle()
    print(f"{'damage':20}{'files':>7}{'read':>7}{'set aside':>11}{'worker lost':>13}{'unexpected':>12}")
    for key, counts in results.items():
        print(
            f"{key:20}{sum(counts.values()):7}{counts['read']:7}{counts['set aside']:11}{counts['worker lost']:13}"
            f"{counts['unexpected']:12}"
        )
    lost = count - sum(results["all"].values())
    print(
        f"lost {lost}, unexpected {unexpected}, largest worker {largest[0]:.2f} GB, slowest file {slowest:.1f} s, ",
        end="",
    )
    print(f"{time.monotonic() - started:.0f} s in all")
    for line in told[:20]:
        print(f"  {line}")


def command_figures(root: Path, count: int) -> None:
    scans = root / "through the command"
    made = root / "made"
    scans.mkdir()
    made.mkdir()
    given = set()
    for path, _ in mutations.damaged(made, count, seed=400_000):
        path.rename(scans / path.name)
        given.add(path.name)
    with watched_memory() as largest:
        status, taken, aside = through_the_command(scans, root / "collection")
    missing = given - taken - aside.keys()
    print(
        f"damaged files through the command: {count}, processed {len(taken)}, set aside {len(aside)}, "
        f"unaccounted for {len(missing)} {sorted(missing)[:3]}, exit {status}, largest worker {largest[0]:.2f} GB"
    )


def main() -> None:
    counts = [int(argument) for argument in sys.argv[1:]] + [2000, 100][len(sys.argv) - 1 :]
    with tempfile.TemporaryDirectory() as name:
        mutation_figures(Path(name), counts[0])
        command_figures(Path(name), counts[1])
        zoo_figures(Path(name))


if __name__ == "__main__":
    main()
