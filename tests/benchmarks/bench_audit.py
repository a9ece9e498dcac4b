"""Wall time of ``surrogate audit`` over that of ``sha256sum`` on the same files, the whole commands, start included.

Run: ``python tests/benchmarks/bench_audit.py [GIGABYTES]``. Target: at most 1.15, with files in memory and, where the
system lets us empty its cache, from the disk. Masters of random bytes: what is in them does not matter to a checksum.
"""

from __future__ import annotations

import hashlib
import os
import random
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from surrogate.collection import paths, settings
from surrogate.collection.catalogue import CopyRow, FileRow, OriginalRow, open_catalogue
from surrogate.records import Copy, Kind, Master, Side, Use

#: A scan of 28.8 megapixels (8x10 in at 600 ppi) has 86 MB; its copies and records about 1 MB.
MASTER_BYTES = 86_400_000
MADE_BYTES = {"viewing": 900_000, "thumbnail": 20_000, "recipe": 20_000, "png": 200_000, "json": 2_000, "xmp": 4_000}


def build(folder: Path, count: int) -> list[str]:
    """A collection of ``count`` originals with everything a catalogue answers for; returns its files."""
    settings.write_first(folder, 2026)
    block = random.Random(8).randbytes(1 << 20)
    written: list[str] = []

    def put(name: str, size: int, seed: int) -> str:
        content = (seed.to_bytes(8, "big") + block * (size // len(block) + 1))[:size]
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
        written.append(name)
        return hashlib.sha256(content).hexdigest()

    with open_catalogue(folder) as catalogue, catalogue.transaction():
        for item in range(1, count + 1):
            reference, side = f"2026.001.{item:04}", Side.RECTO
            file = paths.master(reference, side, "tif")
            master = Master(
                side=side, file=file, sha256=put(file, MASTER_BYTES, item), bytes=MASTER_BYTES, width=4800, height=6000,
                bits=8, ppi=600, profile=None, scanned_as=f"scan{item}.tif",
            )  # fmt: skip
            catalogue.put_original(OriginalRow(reference, Kind.UNKNOWN, None, "picture"))
            catalogue.put_master(reference, master, complete=True)
            recipe = paths.recipe(reference, side, None, Use.VIEWING)
            made = {
                "recipe": recipe,
                "json": paths.condition(reference, side, "json"),
                "png": paths.condition(reference, side, "png"),
                "xmp": paths.sidecar(file),
            }
            rows = [FileRow(name, put(name, MADE_BYTES[what], item), MADE_BYTES[what]) for what, name in made.items()]
            for use in (Use.VIEWING, Use.THUMBNAIL):
                name, size = paths.copy(reference, side, None, use), MADE_BYTES[use.value]
                copy = Copy(
                    use=use, side=side, part=None, file=name, sha256=put(name, size, item), width=1, height=1,
                    recipe=recipe, master_sha256=master.sha256, fidelity=None,
                )  # fmt: skip
                rows.append(FileRow(name, copy.sha256, size))
                catalogue.put_copy(CopyRow(copy, reference, "", ""))
            catalogue.put_files(reference, rows)
    return written


def seconds(command: list[str], folder: Path, *, cold: bool) -> float:
    """Wall seconds of a command in ``folder``; ``cold`` empties the system's file cache first."""
    if cold:
        os.sync()
        Path("/proc/sys/vm/drop_caches").write_text("3")
    start = time.perf_counter()
    told = subprocess.run(command, check=False, cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
    taken = time.perf_counter() - start
    if command[0] != "sha256sum" and "checked" not in told.stdout:
        raise SystemExit(told.stdout)
    return taken


def can_empty_cache() -> bool:
    """Whether this system lets us empty its file cache."""
    try:
        Path("/proc/sys/vm/drop_caches").write_text("1")
    except OSError:
        return False
    return True


def main() -> None:
    """Print the table."""
    gigabytes = float(sys.argv[1]) if len(sys.argv) > 1 else 2.0
    audit = [sys.executable, "-m", "surrogate.cli", "audit", "."]
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        files = build(folder, max(1, round(gigabytes * 1e9 / MASTER_BYTES)))
        total = sum((folder / file).stat().st_size for file in files) / 1e9
        print(f"{len(files)} files, {total:.2f} GB, {len(os.sched_getaffinity(0))} cores; best of three, seconds")
        print(f"{'files':12} {'sha256sum':>10} {'audit':>8} {'ratio':>7} {'--quick':>9}")
        for what, cold in (("in memory", False), ("from disk", True)):
            if cold and not can_empty_cache():
                print("from disk    not measured: this system does not let us empty its file cache")
                continue
            rounds = [
                (
                    seconds(["sha256sum", *files], folder, cold=cold),
                    seconds(audit, folder, cold=cold),
                    seconds([*audit, "--quick"], folder, cold=cold),
                )
                for _ in range(3)
            ]
            theirs, ours, quick = (min(column) for column in zip(*rounds, strict=True))
            print(f"{what:12} {theirs:10.2f} {ours:8.2f} {ours / theirs:7.2f} {quick:9.2f}")


if __name__ == "__main__":
    main()
