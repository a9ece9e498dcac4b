"""CPU and memory of `process` over the floor, as ratios in one run.

python tests/benchmarks/bench_process.py [--scans 10] [--megapixels 28.8] [--form tiff8|tiff16|lzw|jpeg ...]
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
from pathlib import Path

import cv2
import numpy as np
import pyvips

HERE = Path(__file__).parent
FORMS = {
    "tiff8": ("tif", {}),
    "tiff16": ("tif", {}),
    "lzw": ("tif", {"compression": "lzw", "predictor": "horizontal"}),
    "jpeg": ("jpg", {"Q": 95}),
}


def make_scans(folder: Path, count: int, megapixels: float, form: str) -> None:
    """The photographs behind the sample scans, enlarged, each with noise of its own, at 600 ppi."""
    height = round((megapixels * 1e6 / 1.25) ** 0.5)
    width = round(height * 1.25)
    pictures = [
        cv2.imread(str(path))[..., ::-1] for path in sorted((HERE.parent / "simulate" / "sources").glob("*.jpg"))
    ]
    suffix, options = FORMS[form]
    for number in range(count):
        rng = np.random.default_rng(number)
        large = cv2.resize(pictures[number % len(pictures)], (width, height), interpolation=cv2.INTER_CUBIC)
        noise = rng.integers(0, 6, (256, width, 3), dtype=np.uint8)
        for top in range(0, height, 256):
            rows = large[top : top + 256]
            large[top : top + 256] = cv2.add(rows, noise[: len(rows)])
        image = pyvips.Image.new_from_array(large, interpretation="srgb").copy(xres=600 / 25.4, yres=600 / 25.4)
        if form == "tiff16":
            image = (image.cast("ushort") * 257).cast("ushort").copy(interpretation="rgb16")
        image.write_to_file(str(folder / f"scan{number:04}.{suffix}"), **options)


#: Runs a program; orphans of its children (workers are forked by a helper) are handed to it, so none goes uncounted.
_METER = """
import ctypes, os, resource, subprocess, sys
ctypes.CDLL(None).prctl(36, 1)  # PR_SET_CHILD_SUBREAPER in linux/prctl.h
code = subprocess.call(sys.argv[1:], stdout=subprocess.DEVNULL)
try:
    while True:
        os.wait()
except ChildProcessError:
    pass
used = resource.getrusage(resource.RUSAGE_CHILDREN)
print(used.ru_utime + used.ru_stime, used.ru_maxrss / 1024)
sys.exit(code)
"""


def cpu_and_peak(command: list[str]) -> tuple[float, float]:
    """(CPU seconds of the program and all that it starts, largest resident set of one process in MB)."""
    done = subprocess.run(
        [sys.executable, "-c", _METER, *command], check=True, capture_output=True, text=True,
        env={**os.environ, "OMP_NUM_THREADS": "1", "VIPS_CONCURRENCY": "1"},
    )  # fmt: skip
    cpu, peak = done.stdout.split()
    return float(cpu), float(peak)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--scans", type=int, default=10)
    parser.add_argument("--megapixels", type=float, default=28.8)
    parser.add_argument("--form", nargs="*", default=["tiff8"], choices=sorted(FORMS))
    options = parser.parse_args()
    print("form      Mpx    floor s/scan  process s/scan  ratio   peak MB")
    for form in options.form:
        with tempfile.TemporaryDirectory() as folder:
            scans, kept = Path(folder) / "scans", Path(folder) / "kept"
            scans.mkdir()
            kept.mkdir()
            make_scans(scans, options.scans, options.megapixels, form)
            floor, _ = cpu_and_peak([sys.executable, str(HERE / "floor.py"), str(scans), str(kept)])
            command = [sys.executable, "-m", "surrogate", "process", str(scans), "--workers", "1"]
            ours, peak = cpu_and_peak([*command, "--collection", str(Path(folder) / "collection")])
            print(
                f"{form:8} {options.megapixels:5.1f} {floor / options.scans:13.3f} {ours / options.scans:15.3f} "
                f"{ours / floor:6.2f} {peak:9.0f}"
            )


if __name__ == "__main__":
    main()
