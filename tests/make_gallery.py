"""docs/gallery.md and its pictures: each sample scan, its viewing copy, the original as it was, from a finished demo.

python tests/make_gallery.py demo docs
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from make_sample_scans import SAMPLES
from simulate.staging import generator
from simulate.tone import Image, encode_srgb

from surrogate.copies.make import reduced
from surrogate.imaging.encode import jpeg
from tests.benchmarks.quality_samples import Beside, Figures, beside, figures, viewing_copies

#: Height and largest width of one of the three pictures, and the white between them, px: nine times three of them stay
#: below a megabyte.
HEIGHT_PX, WIDEST_PX, GAP_PX = 200, 300, 8
#: A copy is better when it is nearer by more than this, CIEDE2000 (about what is just seen).
SEEN = 1.0

HEAD = """# Gallery: before, after, and what was true

Every sample scan of this project whose true, unfaded look is known (the scans are made, so it is), with its viewing
copy. Left the scan, in the middle the copy, right the original as it was. All are here, better or not.
The figure is the median CIEDE2000 to the original as it was: scan, then copy; 1 is just seen, 2 to 3 is a good match.

Made by `make gallery`, from the demo; nothing was chosen or touched by hand.
"""


def codes(picture: Image) -> np.ndarray:
    """8-bit sRGB, white where a copy does not reach."""
    filled = np.where(np.isfinite(picture), picture, 1.0)
    return np.asarray(np.round(encode_srgb(np.clip(filled, 0, 1)) * 255), np.uint8)


def strip(three: Beside) -> np.ndarray:
    """The three pictures side by side, (HEIGHT_PX or less, W, 3) uint8."""
    height, width = three.truth.shape[:2]
    long_edge = round(max(height, width) * min(HEIGHT_PX / height, WIDEST_PX / width, 1.0))
    shown = [reduced(codes(each), long_edge) for each in (three.scan, three.copy, three.truth) if each is not None]
    gap = np.full((shown[0].shape[0], GAP_PX, 3), 255, np.uint8)
    return np.concatenate([part for each in shown for part in (each, gap)][:-1], axis=1)


def words(found: Figures) -> str:
    if found.after is None:
        return f"{found.before:.1f}. No copy shows this picture by itself."
    said = f"{found.before:.1f} -> {found.after:.1f}"
    if found.after > found.before + SEEN:
        return f"{said}. **The copy is worse than the scan.**"
    if found.after > found.before - SEEN:
        return f"{said}. As far from the original as the scan."
    return said


def main() -> None:
    folder, docs = Path(sys.argv[1]), Path(sys.argv[2])
    (docs / "gallery").mkdir(parents=True, exist_ok=True)
    page, number = [HEAD], 0
    for sample in SAMPLES:
        scan = sample.scene(generator(sample.file))
        copies = viewing_copies(folder, sample.file) if scan.truths else []
        for truth in scan.truths:
            number += 1
            three = beside(scan, truth, copies)
            name = f"gallery/{number:02d}.jpg"
            jpeg(strip(three), docs / name, quality=80, ppi=None)
            title = f"{sample.file}{', ' + truth.part if truth.part else ''}"
            page.append(f"**{title}**: {words(figures(three))}\n\n![{title}]({name})\n")
    (docs / "gallery.md").write_text("\n".join(page), encoding="utf-8")


if __name__ == "__main__":
    main()
