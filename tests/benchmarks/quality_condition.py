"""Kind of original, marks and yellowness on pictures that no fit saw: ``SURROGATE_PHOTOGRAPHS=... python -m
tests.benchmarks.quality_condition [SHARE] [PART...]``; SHARE of the full number of pictures (1 takes about half an
hour); PARTs are yellowness, time, kinds, tones and marks, all when none is named.
"""

from __future__ import annotations

import os
import sys
import time
import warnings
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).parents[2]))

from surrogate.condition import colorimetry, kind, marks, measure, paper, picture, scan_error
from surrogate.copies.make import reduced
from surrogate.imaging.density import to_density
from surrogate.imaging.read import Raster
from surrogate.looking import proxy_density
from surrogate.pipeline import CONDITION_LONG_EDGE_PX
from surrogate.records import Kind, Side
from tests.benchmarks import judged_marks, judged_originals

Area = NDArray[np.bool_]

#: A found region answers a painted one from this intersection over union on; lines are widened by 2 px first.
ANSWERS = 0.3
LINES = frozenset({"fold", "tear", "tideline", "adhesive stripes"})


@dataclass(frozen=True)
class Painted:
    """A painted mark at the size of the label picture."""

    kind: str
    area: Area


def marked_originals(count: int, half: int, clean: bool = False) -> Iterator[tuple[NDArray[np.float32], list[Painted]]]:
    """Originals (as `marks.seen`) with one or two marks or, every third, none; over every second unseen photograph."""
    paths = judged_originals.photographs()[half::2]
    rng = np.random.default_rng(100 + half + 50 * clean)
    order = ("colour-print", "silver-print", "document", "colour-print", "silver-print", "clipping", "colour-print")
    names = list(judged_marks.MAKERS)
    for i in range(count):
        size = (480, 640) if rng.random() < 0.6 else (640, 480)
        light = np.asarray(judged_originals.MAKERS[order[i % len(order)]](rng, paths, size), np.float32)
        wanted = (
            [] if clean or i % 3 == 2 else [str(k) for k in rng.choice(names, int(rng.integers(1, 3)), replace=False)]
        )
        light, truths = judged_marks.laid(rng, light, wanted)
        sheet = marks.seen(to_density(judged_originals.scanned(rng, light)))
        shape = (sheet.shape[1], sheet.shape[0])
        yield (
            sheet,
            [
                Painted(t.kind, cv2.resize(t.area.astype(np.float32), shape, interpolation=cv2.INTER_AREA) > 0.5)
                for t in truths
            ],
        )


def overlap(one: Area, other: Area, *, line: bool) -> float:
    """Intersection over union."""
    if line:
        one, other = (cv2.dilate(a.astype(np.uint8), np.ones((5, 5), np.uint8)) > 0 for a in (one, other))
    return float((one & other).sum() / max(1, (one | other).sum()))


def regions(count: int, clean_count: int) -> None:
    """Recall, precision, area and kind of regions; false regions on clean pictures."""
    painted, answered, named, found, right = (
        Counter[str](),
        Counter[str](),
        Counter[str](),
        Counter[str](),
        Counter[str](),
    )
    errors: dict[str, list[float]] = {}
    spent = []
    for sheet, truths in marked_originals(count, half=1):
        start = time.process_time()
        believed = [one for one in marks.candidates(sheet) if marks.is_mark(one)]
        spent.append(time.process_time() - start)
        union = np.zeros(sheet.shape[:2], np.uint8)
        used = set()
        for truth in truths:
            painted[truth.kind] += 1
            union |= truth.area.astype(np.uint8)
            fits = [overlap(truth.area, one.area, line=truth.kind in LINES) for one in believed]
            if fits and max(fits) >= ANSWERS:
                best = int(np.argmax(fits))
                used.add(best)
                answered[truth.kind] += 1
                named[truth.kind] += marks.KINDS[believed[best].kind] == truth.kind
                errors.setdefault(truth.kind, []).append(abs(float(believed[best].area.sum() / truth.area.sum()) - 1))
        near = cv2.dilate(union, np.ones((7, 7), np.uint8)) > 0
        for i, one in enumerate(believed):
            name = marks.KINDS[one.kind]
            found[name] += 1
            right[name] += i in used or bool((one.area & near).sum() > 0.5 * one.area.sum())
    print(f"\nMarks on {count} originals: {sum(painted.values())} painted, {sum(found.values())} found")
    for name in marks.KINDS:
        error = f"{np.median(errors[name]):.2f}" if name in errors else "-"
        print(f"  {name:18} recall {answered[name]}/{painted[name]}", end="  ")
        print(f"precision {right[name]}/{found[name]}  area error {error}")
    total = max(1, sum(answered.values()))
    precision = sum(right.values()) / max(1, sum(found.values()))
    print(f"  recall {total / max(1, sum(painted.values())):.2f} (goal 0.90)   precision {precision:.2f} (0.90)")
    every = [error for of_kind in errors.values() for error in of_kind] or [1.0]
    print(f"  median area error {np.median(every):.2f} (0.15)   kind right {sum(named.values()) / total:.2f} (0.85)")
    print(f"  CPU {np.mean(spent):.3f} s an original")
    false = 0
    for sheet, _ in marked_originals(clean_count, half=1, clean=True):
        false += sum(marks.is_mark(one) for one in marks.candidates(sheet))
    print(f"  false regions on {clean_count} clean originals: {false / max(1, clean_count):.3f} each (0.05)")


def kinds(each: int) -> None:
    """Top-1, and how often a stated confidence is right."""
    paths = judged_originals.photographs()
    rng = np.random.default_rng(21)
    rows: list[tuple[str, str, float]] = []
    often = {"silver-print": 3, "negative": 3, "colour-print": 2, "clipping": 2, "document": 2}
    for name, make in judged_originals.MAKERS.items():
        for _ in range(each * often.get(name, 1)):
            size = (600, 800) if rng.random() < 0.6 else (800, 600)
            density = to_density(judged_originals.scanned(rng, make(rng, paths, size)))
            said = kind.guess(density, ppi=None, layout_parts=0, background="frame")
            rows.append((name, said.kind.value, said.confidence))
    right = np.array([truth == said for truth, said, _ in rows])
    sure = np.array([confidence for *_, confidence in rows])
    print(f"\nKind of {len(rows)} originals: top-1 {right.mean():.3f} (goal 0.93)")
    for low, high in ((0.0, 0.5), (0.5, 0.7), (0.7, 0.8), (0.8, 0.9), (0.9, 1.0)):
        inside = (sure > low) & (sure <= high)
        if inside.any():
            share, mean = right[inside].mean(), sure[inside].mean()
            print(f"  said {low}-{high}: {inside.sum():4d} originals, mean {mean:.2f}, right {share:.3f}")
    print("  (goal: right 0.99 above 0.9)   wrong:", dict(Counter((a, b) for a, b, _ in rows if a != b)))


def tones(each: int) -> None:
    """Tone that may be deliberate must be said to be, never read as fading for sure."""
    paths, rng = judged_originals.photographs(), np.random.default_rng(22)
    print("\nDeliberate tone: said to be unsure, of those called silver prints; called something else")
    for make in (judged_originals.toned, judged_originals.hand_coloured, judged_originals.browned):
        said = []
        for _ in range(each):
            density = to_density(judged_originals.scanned(rng, make(rng, paths, (600, 800))))
            said.append(kind.guess(density, ppi=None, layout_parts=0, background="frame"))
        silver = [one for one in said if one.kind is Kind.SILVER_PRINT]
        other = dict(Counter(one.kind.value for one in said if one.kind is not Kind.SILVER_PRINT))
        print(f"  {make.__name__:14} {each:4d}: {sum(bool(one.note) for one in silver)} of {len(silver)}; {other}")


def yellowness(count: int) -> None:
    """Yellowness of noisy sheets with writing, against the colour they were made of."""
    rng = np.random.default_rng(5)
    errors = []
    for _ in range(count):
        lab = (rng.uniform(65, 95), rng.uniform(0, 8), rng.uniform(0, 28))
        truth = colorimetry.yellowness(colorimetry.xyz(colorimetry.density_of_lab(lab)))
        sheet = np.broadcast_to(colorimetry.density_of_lab(lab), (600, 450, 3))
        ink = np.zeros((600, 450), np.float32)
        for y in range(60, 540, 24):
            ink[y : y + 8, 50 : 50 + int(rng.uniform(100, 350))] = rng.uniform(0, 1)
        density = sheet + 0.9 * ink[..., None] + 0.02 * rng.standard_normal(sheet.shape)
        codes = np.clip(np.round(255 * np.asarray(_encode(10**-density))), 0, 255).astype(np.uint8)
        found = paper.measure(to_density(codes), Kind.DOCUMENT).yellowness
        errors.append(abs((found if found is not None else 999.0) - truth))
    print(f"\nYellowness of {count} written sheets, noise 0.02 D:", end=" ")
    print(f"error median {np.median(errors):.2f}, worst {max(errors):.2f} (goal 1.5)")


def cost() -> None:
    """CPU of the whole of condition, on what reading leaves of a scan of 6573 x 4382 px (28.8 MP): 2048 px."""
    paths = judged_originals.photographs()
    print("\nCPU in s, whole condition of a 28.8-megapixel scan read to 2048 px, median of 7 (goal 0.2):")
    for name in ("colour-print", "silver-print", "clipping", "document"):
        rng = np.random.default_rng(3)
        light = judged_originals.MAKERS[name](rng, paths, (1024, 682))
        small = judged_originals.scanned(rng, np.asarray(light, np.float32))
        raster = Raster(cv2.resize(small, (2048, 1365)), 2048 / 6573, 93.5, "sRGB assumed")
        times = [_timed(raster, Kind(name)) for _ in range(8)][1:]
        steps = " ".join(f"{step} {np.median([each[step] for each in times]):.3f}" for step in times[0])
        print(f"  {name:13} {np.median([sum(each.values()) for each in times]):.3f}: {steps}")


def _timed(raster: Raster, its_kind: Kind) -> dict[str, float]:
    spent, before = {}, time.process_time()

    def step(name: str) -> None:
        nonlocal before
        now = time.process_time()
        spent[name], before = now - before, now

    density = proxy_density(raster)
    step("density")
    kind.guess(density, ppi=raster.ppi, layout_parts=0, background="frame")
    step("kind")
    found = measure.measure(density, kind=its_kind, side=Side.RECTO, ppi=raster.ppi)
    step("measuring")
    scan_error.widened(found.condition.fade, density, profile=raster.profile, bits=8)
    step("error")
    picture.draw(reduced(raster.pixels, CONDITION_LONG_EDGE_PX), found.condition.stain, found.marks)
    step("outlines")
    return spent


def _encode(linear: NDArray[np.float64]) -> NDArray[np.float64]:
    """IEC 61966-2-1, written again so that the program is not judged by itself."""
    linear = np.clip(linear, 0, 1)
    return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)


def main() -> None:
    """Print the three tables."""
    warnings.simplefilter("ignore")
    share = float(sys.argv[1]) if len(sys.argv) > 1 else 0.25
    parts = sys.argv[2:] or ["yellowness", "time", "kinds", "tones", "marks"]
    if "yellowness" in parts:
        yellowness(20)
    if not os.environ.get("SURROGATE_PHOTOGRAPHS"):
        print("Set SURROGATE_PHOTOGRAPHS to the folder of photographs for the kinds and the marks; skipped.")
        return
    cv2.setNumThreads(1)
    if "time" in parts:
        cost()
    if "kinds" in parts:
        kinds(max(1, round(24 * share)))
    if "tones" in parts:
        tones(max(1, round(60 * share)))
    if "marks" in parts:
        regions(round(220 * share), round(200 * share))


if __name__ == "__main__":
    main()
