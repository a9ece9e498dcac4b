"""How well originals are found on composed pages, whole pictures left whole, and second scans recognised.

Run: SURROGATE_PHOTOGRAPHS=<folder> python tests/benchmarks/quality_intake.py [PAGES] [PICTURES]

Pages are composed by tests/simulate/pages.py from pictures of sources that no parameter was chosen on (even halves by
a checksum of the source's name), with seeds that no parameter was chosen on.
"""

import csv
import os
import sys
import zlib
from collections import defaultdict
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from simulate import pages

from surrogate.intake import lookalike, outlines, quads
from surrogate.intake.looks import back_likeness

FIRST_SEED = 100_000


def unseen(folder):
    """Picture files of the sources that were held back."""
    rows = csv.DictReader((folder / "index.tsv").open(encoding="utf-8"), delimiter="\t")
    return [folder / row["file"] for row in rows if zlib.crc32(row["source"].split("@")[0].encode()) % 2]


def read(path):
    return np.ascontiguousarray(cv2.imread(str(path))[..., ::-1])


def matched(page, found):
    """(true originals with error in px and IoU, or None where missed; number of false finds)."""
    left = list(found)
    results = []
    for truth in page.corners:
        true = quads.ordered(truth)
        best = max(left, key=lambda one: quads.intersection_over_union(true, one.corners), default=None)
        shared = quads.intersection_over_union(true, best.corners) if best else 0.0
        if best is None or shared < 0.8:
            results.append(None)
            continue
        left.remove(best)
        corners = np.asarray(best.corners)
        error = min(np.hypot(*(np.roll(corners, turn, 0) - true).T).mean() for turn in range(4))
        results.append((error, shared))
    return results, len(left)


def page_figures(files, count):
    rows = defaultdict(list)
    for place in range(count):
        rng = np.random.default_rng(FIRST_SEED + place)
        page = pages.compose(rng, [read(files[i]) for i in rng.integers(len(files), size=6)])
        one = matched(page, outlines.find(page.rgb).outlines)
        turn = next(f"turned up to {most}°" for most in (2, 8, 20, 45) if abs(page.angle) <= most)
        for key in ("all", page.background, page.arrangement, turn):
            rows[key].append(one)
    print(f"{'pages':20}{'pages':>6}{'truth':>6}{'recall':>8}{'false/page':>11}{'error px':>9}{'<= 2 px':>8}{'IoU':>7}")
    for key, results in rows.items():
        every = [one for found, _ in results for one in found]
        hits = [one for one in every if one]
        errors = np.array([error for error, _ in hits] or [np.nan])
        print(
            f"{key:20}{len(results):6}{len(every):6}{len(hits) / len(every):8.3f}"
            f"{sum(false for _, false in results) / len(results):11.3f}{errors.mean():9.2f}"
            f"{(errors <= 2).mean():8.3f}{np.mean([iou for _, iou in hits] or [np.nan]):7.4f}"
        )


def frame_figures(files, count):
    chosen = files[:: max(1, len(files) // count)][:count]
    touched = []
    for file in chosen:
        rgb = read(file)
        factor = 1200 / max(rgb.shape)
        if outlines.find(cv2.resize(rgb, None, fx=factor, fy=factor, interpolation=cv2.INTER_CUBIC)).outlines:
            touched.append(file.name)
    print(f"pictures that fill the frame: {len(chosen)}, split or trimmed {len(touched)} {touched}")
    likeness = np.array([back_likeness(read(file)) for file in chosen])
    print(f"of these taken for a back (above 0.5): {(likeness > 0.5).mean():.3f}")


def second_scan(rng, picture):
    """Cropped by up to 9 % a side, askew, exposed otherwise, faded, noisy, turned by quarters."""
    h, w = picture.shape[:2]
    a, b, c, d = rng.uniform(0, 0.09, 4)
    part = picture[int(a * h) : int(h - b * h), int(c * w) : int(w - d * w)]
    size = part.shape[1::-1]
    askew = cv2.getRotationMatrix2D((size[0] / 2, size[1] / 2), rng.uniform(-2, 2), 1)
    values = cv2.warpAffine(part, askew, size, borderMode=cv2.BORDER_REFLECT) / 255.0
    strength = rng.uniform(0.4, 1)
    values = values ** rng.uniform(0.6, 1.6) * strength + rng.uniform(0, 1, 3) * (1 - strength)
    values = cv2.resize(values, None, fx=0.8, fy=0.8, interpolation=cv2.INTER_AREA)
    values += rng.normal(0, 0.015, values.shape)
    return np.rot90(np.clip(values * 255, 0, 255).astype(np.uint8), int(rng.integers(4)))


def lookalike_figures(files, count):
    rng = np.random.default_rng(FIRST_SEED)
    greys = {}
    for place, file in enumerate(files[:: max(1, len(files) // count)][:count]):
        picture = read(file)
        greys[f"{place:04} first"] = cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY)
        again = np.ascontiguousarray(second_scan(rng, picture))
        greys[f"{place:04} second"] = cv2.cvtColor(again, cv2.COLOR_RGB2GRAY)
    pairs = lookalike.candidates({name: lookalike.signature(grey) for name, grey in greys.items()})
    linked = [pair for pair in pairs if lookalike.confirm(greys[pair[0]], greys[pair[1]])]
    true = sum(one[:4] == other[:4] for one, other in linked)
    every = len(greys) * (len(greys) - 1) // 2
    false = [pair for pair in linked if pair[0][:4] != pair[1][:4]]
    print(f"second scans: {len(greys) // 2}, found {true / (len(greys) / 2):.3f}")
    print(f"false links: {len(false)} of {every} pairs, {len(false) / every * 1e4:.2f} per 10,000 {false[:4]}")


def main():
    folder = os.environ.get("SURROGATE_PHOTOGRAPHS")
    if not folder:
        print("set SURROGATE_PHOTOGRAPHS to a folder of photographs with its index.tsv")
        return
    cv2.setNumThreads(1)
    counts = [int(argument) for argument in sys.argv[1:]] + [200, 200][len(sys.argv) - 1 :]
    files = unseen(Path(folder))
    frame_figures(files, counts[1])
    lookalike_figures(files, max(10, counts[1] // 2))
    page_figures(files, counts[0])


if __name__ == "__main__":
    main()
