"""How well originals are found on composed pages, whole pictures left whole, pages set upright, second scans known.

Run: SURROGATE_PHOTOGRAPHS=<folder> python tests/benchmarks/quality_intake.py [PAGES] [PICTURES] [FIRST]

The report set: photographs of sources that no parameter was chosen on (odd checksums of the source's name) and seeds
from 200,000 up. Networks and thresholds were fitted on the sources with even checksums and seeds below 100,000 (the
network: 20261125 and up, by worker). FIRST shifts the seeds of the pages, so that large runs can be done in pieces.
"""

from __future__ import annotations

import os
import sys
from collections import defaultdict
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from intake_material import in_a_mount, other_subject, read, second_scan, text_page, unseen
from simulate import frames, pages

from surrogate.intake import lookalike, outlines, quads, upright
from surrogate.intake.looks import back_likeness

FIRST_SEED = 200_000
#: As the program looks at scans.
LONG_EDGE_PX = 1400
#: Errors are given in px of a page this wide.
PAGE_WIDTH_PX = 1600


def as_looked_at(rgb):
    factor = min(1.0, LONG_EDGE_PX / max(rgb.shape))
    return cv2.resize(rgb, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)


def found_on(page):
    """The layout of a page as the program sees it, with the corners that it would cut along in px of the page."""
    small = as_looked_at(page.rgb)
    layout = outlines.find(small)
    return layout, [quads.scaled(one.corners, page.rgb.shape[1] / small.shape[1]) for one in layout.to_cut()]


def matched(page, found):
    """(true originals with error in px and IoU, or None where missed; number of false finds)."""
    left = list(found)
    results = []
    for truth in page.corners:
        true = quads.ordered(truth)
        best = max(left, key=lambda one: quads.intersection_over_union(true, one), default=None)
        shared = quads.intersection_over_union(true, best) if best else 0.0
        if best is None or shared < 0.8:
            results.append(None)
            continue
        left.remove(best)
        error = min(np.hypot(*(np.roll(best, turn, 0) - true).T).mean() for turn in range(4))
        results.append((error * PAGE_WIDTH_PX / page.rgb.shape[1], shared))
    return results, len(left)


def smallest_rectangles(page):
    """IoU of OpenCV's minAreaRect on the mask of the truth with the truth: what the measure itself leaves open."""
    shared = []
    for truth in page.corners:
        mask = quads.mask(quads.ordered(truth), page.rgb.shape[:2]).astype(np.uint8)
        if mask.any():
            box = quads.ordered(cv2.boxPoints(cv2.minAreaRect(cv2.findNonZero(mask))))
            shared.append(quads.intersection_over_union(quads.ordered(truth), box))
    return shared


def page_figures(files, count, first):
    rows, rectangles, told = defaultdict(list), [], []
    for place in range(first, first + count):
        rng = np.random.default_rng(FIRST_SEED + place)
        page = pages.compose(rng, [read(files[i]) for i in rng.integers(len(files), size=9)])
        layout, found = found_on(page)
        one = matched(page, found)
        rectangles += smallest_rectangles(page)
        if page.arrangement == "overlapping":
            told.append(any("overlap" in note for note in layout.notes) or not found)
            rows["overlapping"].append(one)
            continue
        turn = next(f"turned up to {most}°" for most in (2, 8, 20, 45) if abs(page.angle) <= most)
        kinds = {trait for traits in page.traits for trait in traits & {"deckle", "corners", "border", "torn"}}
        for key in (
            "all but overlapping",
            page.background,
            page.arrangement,
            turn,
            *(f"with {kind}" for kind in kinds),
        ):
            rows[key].append(one)
        if any(hit is None for hit in one[0]) or one[1]:
            print(f"  seed {FIRST_SEED + place}: {page.background}, {page.arrangement}, {layout.notes}")
    print(f"{'pages':20}{'pages':>6}{'truth':>6}{'recall':>8}{'false/page':>11}{'error px':>9}{'<= 2 px':>8}{'IoU':>7}")
    for key in sorted(rows, key=lambda key: (key != "all but overlapping", key)):
        results = rows[key]
        every = [one for found, _ in results for one in found]
        hits = [one for one in every if one]
        errors = np.array([error for error, _ in hits] or [np.nan])
        print(
            f"{key:20}{len(results):6}{len(every):6}{len(hits) / len(every):8.3f}"
            f"{sum(false for _, false in results) / len(results):11.3f}{errors.mean():9.2f}"
            f"{(errors <= 2).mean():8.3f}{np.mean([iou for _, iou in hits] or [np.nan]):7.4f}"
        )
    print(f"IoU of OpenCV's minAreaRect on the truth's own mask with the truth: {np.mean(rectangles):.4f}")
    print(f"overlapping pages said to overlap or kept whole: {sum(told)} of {len(told)}")


def frame_figures(files, count):
    """Photographs, and photographs within borders, mounts, cards, clippings, that fill the scan."""
    chosen = files[:: max(1, len(files) // count)][:count]
    touched = []
    for file in chosen:
        rgb = read(file)
        factor = 1200 / max(rgb.shape)
        if outlines.find(cv2.resize(rgb, None, fx=factor, fy=factor, interpolation=cv2.INTER_CUBIC)).to_cut():
            touched.append(file.name)
    print(f"photographs that fill the scan: {len(chosen)}, split or trimmed {len(touched)} {touched}")
    by_kind = defaultdict(list)
    for place in range(count):
        rng = np.random.default_rng(FIRST_SEED + place)
        kind = list(frames.FRAMES)[place % len(frames.FRAMES)]
        rgb = frames.full_frame(rng, [read(files[i]) for i in rng.integers(len(files), size=9)], kind)
        by_kind[kind].append(bool(outlines.find(rgb).to_cut()))
    print("made full frames, split or trimmed:", {kind: f"{sum(cut)} of {len(cut)}" for kind, cut in by_kind.items()})
    likeness = np.array([back_likeness(read(file)) for file in chosen])
    print(f"of the photographs taken for a back (above 0.5): {(likeness > 0.5).mean():.3f}")


def upright_figures(files, count):
    """Turns applied to photographs and to pages of print and handwriting, each laid in all four ways."""
    applied, wrong = 0, 0
    greys = [cv2.cvtColor(read(file), cv2.COLOR_RGB2GRAY) for file in files[:: max(1, len(files) // count)][:count]]
    alike = [back_likeness(np.repeat(grey[..., None], 3, axis=2)) for grey in greys]
    for grey, paper in zip(greys, alike, strict=True):
        for quarter in range(4):
            found = upright.suggest(np.ascontiguousarray(np.rot90(cv2.resize(grey, None, fx=2, fy=2), quarter)))
            sure = found.confidence > upright.APPLIED and paper >= 0.5  # as the program asks for paper first
            applied += sure
            wrong += sure and found.quarter_turns != quarter
    print(f"photographs in four ways: {4 * len(greys)}, turned {applied}, wrongly {wrong}")
    sure, right, wrong, offered = 0, 0, 0, 0
    for place in range(count):
        page = text_page(np.random.default_rng(FIRST_SEED + place))
        for quarter in range(4):
            found = upright.suggest(np.ascontiguousarray(np.rot90(page, quarter)))
            good = found.quarter_turns == quarter
            sure += found.confidence > upright.APPLIED
            wrong += found.confidence > upright.APPLIED and not good
            offered += 0.5 < found.confidence <= upright.APPLIED
            right += 0.5 < found.confidence <= upright.APPLIED and good
    print(
        f"text pages in four ways: {4 * count}, set upright {sure}, wrongly {wrong}; suggested {offered}, right {right}"
    )


def lookalike_figures(files, count):
    """Second scans found, and pictures linked that are not the same: others, and made to look alike."""
    rng = np.random.default_rng(FIRST_SEED)
    chosen = files[:: max(1, len(files) // count)][:count]
    scans = {}
    for place, file in enumerate(chosen):
        picture, other = read(file), read(chosen[place - 1])
        scans[f"{place:04} first"] = picture
        scans[f"{place:04} second"] = second_scan(rng, picture)
        scans[f"{place:04}b backdrop"] = second_scan(rng, other_subject(rng, picture, other))
        if place % 2:
            scans[f"{place:04}m mount"] = second_scan(rng, in_a_mount(picture))
    greys = {name: cv2.cvtColor(np.ascontiguousarray(scan), cv2.COLOR_RGB2GRAY) for name, scan in scans.items()}
    pairs = lookalike.candidates({name: lookalike.signature(grey) for name, grey in greys.items()})
    linked = [pair for pair in pairs if lookalike.confirm(greys[pair[0]], greys[pair[1]])]
    found = {pair[0][:4] for pair in linked if {one[5:] for one in pair} == {"first", "second"} and same(*pair)}
    wrong = [pair for pair in linked if not same(*pair)]
    every, compared = len(greys) * (len(greys) - 1) // 2, sum(not same(*pair) for pair in pairs)
    print(f"second scans: {len(chosen)}, found {len(found) / len(chosen):.3f}")
    print(
        f"false links: {len(wrong)} of {every} pairs ({compared} compared by geometry), "
        f"{len(wrong) / every * 1e4:.2f} per 10,000 {wrong[:4]}"
    )


def same(one, other):
    """Whether two names stand for one picture; a mount around a picture makes no other of it."""
    return one[:4] == other[:4] and "b " not in one + other


def main():
    folder = os.environ.get("SURROGATE_PHOTOGRAPHS")
    if not folder:
        print("set SURROGATE_PHOTOGRAPHS to a folder of photographs with its index.tsv")
        return
    cv2.setNumThreads(1)
    counts = [int(argument) for argument in sys.argv[1:]] + [200, 200, 0][len(sys.argv) - 1 :]
    files = unseen(Path(folder))
    if counts[1]:
        frame_figures(files, counts[1])
        upright_figures(files, max(10, counts[1] // 4))
        lookalike_figures(files, max(10, counts[1] * 3 // 4))
    if counts[0]:
        page_figures(files, counts[0], counts[2])


if __name__ == "__main__":
    main()
