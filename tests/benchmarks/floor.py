"""The floor under `process`: read + hash + keep + reduce to 2048 px + encode + tag, with the same libraries.

Run by bench_process.py as a program of its own: python floor.py SCANS TARGET
"""

from __future__ import annotations

import hashlib
import json
import os
import sys
import tempfile
from pathlib import Path

os.environ.setdefault("VIPS_CONCURRENCY", "1")

import exiftool
import pyvips

LONG_EDGE_PX = 2048
QUALITY = 88


def main() -> None:
    scans, target = Path(sys.argv[1]), Path(sys.argv[2])
    with exiftool.ExifTool(common_args=[]) as tool:
        for scan in sorted(scans.iterdir()):
            kept = target / scan.name
            digest = hashlib.sha256()
            with scan.open("rb", buffering=0) as reader, kept.open("wb") as writer:
                while chunk := reader.read(1 << 20):
                    digest.update(chunk)
                    writer.write(chunk)
                os.fsync(writer.fileno())
            copy = target / f"{scan.stem}_viewing.jpg"
            image = pyvips.Image.thumbnail(str(kept), LONG_EDGE_PX, height=LONG_EDGE_PX, size="down", fail_on="error")
            image.jpegsave(str(copy), Q=QUALITY)
            with tempfile.NamedTemporaryFile("w", suffix=".json") as words:
                row = {"SourceFile": str(copy), "XMP-dc:Title": scan.stem, "XMP-dc:Identifier": digest.hexdigest()}
                json.dump([row], words)
                words.flush()
                tool.execute(f"-json={words.name}", "-overwrite_original", str(copy))


if __name__ == "__main__":
    main()
