"""What words cost: run ``python tests/benchmarks/bench_embedding.py [copies]``.

CPU seconds of ExifTool and of this process together, per copy, on viewing copies of 2048 x 1536 pixels with a full
description: written one by one, written 64 at once, and changed later (metadata only). Wall time is printed
beside it; it grows with whatever else the machine does.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
from PIL import Image, ImageCms

from surrogate.description.embed import Description, Embedder

DESCRIPTION = Description(
    reference="2026.001.0007",
    title="The ferry leaves",
    caption="Grandmother at the rail.\nThe ferry left at noon.",
    inscription="Me & [illegible]\n  Sund, Easter",
    date="1943~",
    people=["Ida Holm (née Berg)", "?", "Jan"],
    place="Sund, north quay",
    creator="Foto Ek",
    credit="Village museum",
    rights="No known copyright",
    source_type="algorithmicallyEnhanced",
    source="masters/2026-001/2026-001-0007_r.tif sha256 " + "ab" * 32,
    derived_from="masters/2026-001/2026-001-0007_r.tif",
    history=["Fade: densities of the three dyes raised.", "Cropped to the print."],
    software="surrogate 0.1.0",
)


def a_copy(folder: Path) -> Path:
    """A viewing copy of about 300 kB with an sRGB profile."""
    small = np.random.default_rng(3).integers(0, 256, (30, 40, 3), dtype=np.uint8)
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    path = folder / "copy.jpg"
    Image.fromarray(small).resize((2048, 1536)).save(path, dpi=(300, 300), quality=88, icc_profile=profile)
    return path


def cpu_s(process: int) -> float:
    """CPU seconds of this process and of ExifTool so far (Linux: /proc/PID/stat, fields 14 and 15)."""
    fields = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
    return time.process_time() + (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def pixels(path: Path) -> str:
    """A digest of the decoded picture."""
    with Image.open(path) as image:
        return hashlib.sha256(image.tobytes()).hexdigest()


def timed(embedder: Embedder, what: str, count: int, work: Callable[[], None]) -> None:
    """Run and print CPU and wall time per copy."""
    process = embedder._tool._process
    assert process is not None
    cpu, wall = cpu_s(process.pid), time.perf_counter()
    work()
    cpu, wall = cpu_s(process.pid) - cpu, time.perf_counter() - wall
    print(f"{what:34} {1000 * cpu / count:8.1f} {1000 * wall / count:8.1f}")


def main(arguments: Sequence[str]) -> None:
    """Print the table."""
    count = int(arguments[0]) if arguments else 200
    with tempfile.TemporaryDirectory() as name, Embedder() as embedder:
        folder = Path(name)
        source = a_copy(folder)
        copies = [folder / f"{number}.jpg" for number in range(count)]
        for copy in copies:
            shutil.copyfile(source, copy)
        before = pixels(source)
        print(f"copies of {source.stat().st_size // 1000} kB: ms each = s for 1,000   CPU     wall")
        timed(embedder, "one by one", count, lambda: [embedder.write(copy, DESCRIPTION) for copy in copies] and None)
        timed(embedder, "64 at once", count, lambda: embedder.write_many([(copy, DESCRIPTION) for copy in copies]))
        changed = DESCRIPTION.model_copy(update={"caption": "Her sister at the rail."})
        timed(
            embedder,
            "caption changed, metadata only",
            count,
            lambda: embedder.rewrite_many([(c, changed) for c in copies]),
        )
        sidecars = [(copy.with_suffix(".xmp"), DESCRIPTION) for copy in copies]
        timed(embedder, "sidecars", count, lambda: embedder.sidecars(sidecars))
        print("pixels unchanged in all:", all(pixels(copy) == before for copy in copies[:20]))
        start = time.perf_counter()
        subprocess.run(["exiftool", "-ver"], capture_output=True, check=True)
        print(f"a process for each file would add {1000 * (time.perf_counter() - start):.0f} ms")


if __name__ == "__main__":
    main(sys.argv[1:])
