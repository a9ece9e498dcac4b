"""Cost of prints: processor time over the floor of read, resize and encode; memory of an 8x10 and of a poster.

    python tests/benchmarks/bench_prints.py

The floor is libvips alone: read the master and resize it with Lanczos-3, and encode the finished print's pixels as the
same TIFF. Every figure is the smallest of several runs in turns, each in its own process, in processor seconds.
"""

from __future__ import annotations

import re
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

import cv2
import numpy as np
import pyvips

sys.path.insert(0, str(Path(__file__).parents[1]))
from copies_collection import STEPS, add_original, scene, write_manifest, write_scan

from surrogate.copies.frame import frame
from surrogate.copies.print_pixels import DEFLATE_LEVEL, write_print
from surrogate.recovery.recipe import Recipe

RUNS = 5


def _recipe(size: tuple[int, int], outline: list[tuple[float, float]] | None = None) -> Recipe:
    return Recipe(
        software="bench",
        kind="colour-print",
        use="print",
        side="recto",
        master="master.tif",
        master_sha256="0" * 64,
        input_profile="sRGB assumed",
        outline=outline,
        strength="standard",
        tone="as found",
        steps=STEPS,
        words=[],
        sharpen_radius_px=1.0,
        print_size_px=size,
        print_box_px=(0, 0, *size),
        print_ppi=300,
    )


def _floor(folder: Path) -> None:
    image = pyvips.Image.new_from_file(str(folder / "master.tif"), access="sequential", fail_on="error")
    image.resize(2400 / image.width, vscale=3000 / image.height, kernel="lanczos3").write_to_memory()
    image = pyvips.Image.rawload(str(folder / "print.raw"), 2400, 3000, 3, interpretation="srgb")
    image.tiffsave(str(folder / "floor.tif"), compression="deflate", predictor="horizontal", level=DEFLATE_LEVEL)


def _print(folder: Path) -> None:
    write_print(folder / "master.tif", _recipe((2400, 3000)), folder / "print.tif")


def _slanted(folder: Path) -> None:
    corners = [(40.0, 90.0), (4700.0, 30.0), (4770.0, 5900.0), (110.0, 5960.0)]
    write_print(folder / "master.tif", _recipe((2400, 3000), corners), folder / "print.tif")


def _frame(folder: Path) -> None:
    frame(folder, ["2026.001.0001"], frame="24x36in", opening="23x35in", paper="a4")


#: What is compared on an 8x10 in print.
_WORDS = {
    "floor": "floor (read, resize, encode)",
    "print": "print, recipe and sharpening",
    "slanted": "the same, straightened",
}

_WAYS = {"floor": _floor, "print": _print, "slanted": _slanted, "frame": _frame}


def _measured(ways: Sequence[str], folder: Path, runs: int = RUNS) -> dict[str, tuple[float, float]]:
    """Smallest processor seconds and largest peak MB of each way; in turns, so that a busy machine is busy for all."""
    found: dict[str, list[tuple[float, float]]] = {way: [] for way in ways}
    for _ in range(runs):
        for way in ways:
            command = [sys.executable, __file__, way, str(folder)]
            out = subprocess.run(command, check=True, capture_output=True, text=True).stdout.split()
            found[way].append((float(out[0]), float(out[1])))
    return {way: (min(one[0] for one in each), max(one[1] for one in each)) for way, each in found.items()}


def _child(way: str, folder: Path) -> None:
    cv2.setNumThreads(1)
    start = time.process_time()
    _WAYS[way](folder)
    used = time.process_time() - start
    # the high-water mark of this program alone; getrusage would count the parent that it was forked from
    status = Path("/proc/self/status").read_text(encoding="ascii")
    print(used, int(re.search(r"VmHWM:\s+(\d+)", status)[1]) / 1024)


def _enlarged(width: int, height: int, deep: bool) -> np.ndarray:
    small = scene(width // 4, height // 4)
    pixels = cv2.resize(small, (width, height), interpolation=cv2.INTER_CUBIC)
    if not deep:
        return pixels
    return (pixels.astype(np.uint16) << 8) | np.random.default_rng(2).integers(0, 256, (height, width, 1), np.uint16)


def main() -> None:
    """Print the table."""
    print(f"{'8x10 in at 300 ppi from 600 ppi':<44}{'CPU s':>8}{'/ floor':>9}{'MB':>7}")
    for deep in (False, True):
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            write_scan(folder / "master.tif", _enlarged(4800, 6000, deep), 600)
            _print(folder)
            pyvips.Image.new_from_file(str(folder / "print.tif")).rawsave(str(folder / "print.raw"))
            bits = "16-bit" if deep else "8-bit"
            measured = _measured(list(_WORDS), folder)
            for way, words in _WORDS.items():
                used, memory = measured[way]
                print(f"{bits + ' master: ' + words:<44}{used:>8.2f}{used / measured['floor'][0]:>9.2f}{memory:>7.0f}")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        corners = [(30.0, 60.0), (7150.0, 20.0), (7180.0, 10740.0), (60.0, 10780.0)]
        pixels = _enlarged(7200, 10800, deep=True)
        original = add_original(folder, "2026.001.0001", pixels, ppi=300, steps=STEPS, outline=corners)
        write_manifest(folder, [original])
        del pixels
        used, memory = _measured(["frame"], folder, runs=1)["frame"]
        print(f"{'24x36 in poster, 16 bits, whole frame command':<44}{used:>8.2f}{'':>9}{memory:>7.0f}")


if __name__ == "__main__":
    if len(sys.argv) == 3:
        _child(sys.argv[1], Path(sys.argv[2]))
    else:
        main()
