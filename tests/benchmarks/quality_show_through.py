"""Show-through taken out with the scan of the other side: how often, how well, and never for a back that is another's.

    python tests/benchmarks/quality_show_through.py [LEAVES] [--seed S] [--fit] [--picture FILE]

Leaves are composed from two texts, with ink and show-through that are known: by tests/simulate/leaf.py, or with
``--fit`` by the harder pages of tests/fit that the limit of acceptance was chosen on. Every front is also tried with
the back of the leaf before it, which is another's, and sides of leaves are that were folded, ruled, taped or printed
alike. CIEDE2000 is that of the front to the same front without
show-through, over what shows through, as scanned and with the step; F = F-measure of ink by one global Otsu threshold,
CER = character error of Tesseract 5, both on the reading copy.
"""

from __future__ import annotations

import argparse
import shutil
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
from PIL import Image
from skimage.color import deltaE_ciede2000, rgb2lab

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from surrogate.imaging.density import to_density, to_srgb
from surrogate.records import LeafSide
from surrogate.recovery import other_side, paper, show_through
from surrogate.recovery.fields import without
from surrogate.recovery.paper_background import take_apart
from surrogate.recovery.play import play
from tests.benchmarks.quality_paper import error_rate, f_measure, otsu_ink, recognised
from tests.fit import ageing_page
from tests.simulate import leaf, newsprint, scanner, tone

SHAPE = (1000, 900)
WHICH = LeafSide(master="masters/back.tif", sha256="0" * 64)
SHARES = (0.03, 0.06, 0.1, 0.2)


def text(index: int, length: int) -> str:
    return " ".join(ageing_page.TEXTS[(index + k) % 6] for k in range(length))


def simulated(index: int, rng: np.random.Generator) -> tuple[leaf.Leaf, str]:
    """A leaf of two texts of different length and size; every ninth front is blank."""
    sizes = rng.choice([24, 30, 40], 2)
    ink, said = leaf.column(text(index, int(rng.integers(1, 4))), int(sizes[0]), SHAPE)
    if index % 9 == 8:
        ink, said = np.zeros(SHAPE, np.float32), ""
    other, _ = leaf.column(text(index + 3, int(rng.integers(1, 4))), int(sizes[1]), SHAPE)
    made = leaf.leaf(
        rng,
        (ink, other),
        ("mild", "medium", "severe")[index % 3],
        SHARES[index % 4],
        strength=float(rng.choice([0.4, 0.7, 1.0])),
        quarter_turns=int(rng.integers(4)),
    )
    return made, said


def fitted(index: int, rng: np.random.Generator) -> tuple[leaf.Leaf, str]:
    """The same of the pages that the limit was chosen on."""
    font = (ageing_page.SERIF, ageing_page.DEJAVU, ageing_page.TYPEWRITER)[index % 3]
    said = text(index, int(rng.integers(1, 4)))
    inks = [ageing_page.ink_of(each, font, int(rng.choice([24, 30])), SHAPE) for each in (said, text(index + 3, 2))]
    page = ageing_page.LEVELS[("mild", "medium", "severe")[index % 3]]
    seeds = rng.integers(2**31, size=2)
    damage = {**page.__dict__, "show_through": SHARES[index % 4]}

    def side(own: int, seed: int, **other: float) -> np.ndarray:
        sheet = ageing_page.Page(**{**damage, **other})
        return ageing_page.aged(inks[own], sheet, np.random.default_rng(seed), inks[1 - own])

    back = side(1, int(seeds[1]))
    _, lay = leaf.mirrored(rng, SHAPE)
    back = cv2.warpAffine(back, lay, SHAPE[::-1], flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    way = np.vstack([lay, [0, 0, 1]]) @ np.array([[-1.0, 0, SHAPE[1] - 1], [0, 1, 0], [0, 0, 1]])
    seed = int(seeds[0])
    return leaf.Leaf(side(0, seed), side(0, seed, show_through=0.0), back, inks[0], inks[1], way[:2]), said


FOLDED = (0.333, 0.667)
ALIKE = ("folded crosswise", "ruled", "table", "form", "taped")


def alike(what: str, index: int, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """(front of one leaf, back of another) of a kind: folded, ruled, taped or printed at the same places."""
    inks = [leaf.column(text(index + k, 2), int(rng.choice([24, 30])), SHAPE)[0] for k in range(4)]
    if what in {"ruled", "table", "form"}:
        inks = [np.maximum(ink, _rules(what)) for ink in inks]
    sides = []
    for own, other in (inks[:2], inks[2:]):
        sheet = replace(newsprint.sample(rng, "medium", SHAPE), show_through=0.1, folds=(), tape_boxes=())
        if what == "folded crosswise":
            sheet = replace(sheet, folds=FOLDED)
        elif what == "taped":
            sheet = replace(sheet, tape_boxes=((0, 480, SHAPE[1], 70),))
        _, aged = newsprint.page_of(own, other, sheet)
        if what == "folded crosswise":
            aged = aged * (1 - 0.3 * np.exp(-(((np.arange(SHAPE[1]) - SHAPE[1] / 2) / 2) ** 2)))[:, None]
        sides.append(tone.to_codes8(scanner.scan(np.float32(aged), scanner.sample(rng))))
    return sides[0], sides[1]


def _rules(what: str) -> np.ndarray:
    """Ink of ruled lines, of a table's, or of a form's with its heading."""
    rules = np.zeros(SHAPE, np.uint8)
    for y in range(90, SHAPE[0] - 40, 90 if what == "form" else 40):
        cv2.line(rules, (50, y), (SHAPE[1] - 50, y), 230 if what == "form" else 90, 2)
    if what != "ruled":
        for x in (50, 300, 600, SHAPE[1] - 50):
            cv2.line(rules, (x, 90), (x, SHAPE[0] - 60), 200, 2)
    if what == "form":
        cv2.putText(rules, "HARBOUR BOARD RECEIPT", (220, 60), cv2.FONT_HERSHEY_SIMPLEX, 1.0, 255, 2)
    return np.float32(rules) / 255


def clarity(front: np.ndarray, back: np.ndarray) -> float:
    density = to_density(back)
    own, other = take_apart(to_density(front)), take_apart(density)
    match = show_through.matched(own, show_through.unplaced(other, density, WHICH, front.shape), density)
    return 0.0 if match is None else match.clarity


def taken(clarities: list[float]) -> int:
    return sum(each >= other_side.CLEARLY for each in clarities)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("leaves", type=int, nargs="?", default=24)
    parser.add_argument("--seed", type=int, default=61)
    parser.add_argument("--fit", action="store_true")
    parser.add_argument("--picture", type=Path, help="draw the picture of the docs there, and nothing else")
    options = parser.parse_args()
    rng = np.random.default_rng(options.seed)
    reads = shutil.which("tesseract") is not None
    if options.picture:
        picture(options.picture)
        return
    rows, others, before = [], [], None
    for index in range(options.leaves):
        made, said = (fitted if options.fit else simulated)(index, rng)
        if before is not None:
            others.append(clarity(made.front, before))
        before = made.back
        rows.append([SHARES[index % 4], *figures(made, said, reads)])
    likes = [clarity(*alike(what, k, rng)) for k in range(max(options.leaves // 4, 1)) for what in ALIKE]
    for what, tried in (("backs of another leaf", others), ("the same, folded, ruled, taped or printed alike", likes)):
        print(f"{what}: {len(tried)} tried, {taken(tried)} taken; clearest {max(tried, default=0):.2f}")
    names = ("taken", "off px", "dE scan", "dE step", "F scan", "F step", "CER scan", "CER step", "blank", "blank")
    print(f"{'show-through':14}{'leaves':>9}" + "".join(f"{name:>9}" for name in names))
    table = np.array(rows, float)
    for share in (*SHARES, None):
        own = table if share is None else table[table[:, 0] == share]
        if len(own):
            means = [
                f"{each[~np.isnan(each)].mean():9.3f}" if (~np.isnan(each)).any() else f"{'':9}" for each in own.T[1:]
            ]
            print(f"{'all' if share is None else share!s:14}{len(own):9d}" + "".join(means))


def figures(made: leaf.Leaf, said: str, reads: bool) -> list[float]:
    """Whether the back was taken, how far off it lies (px), then each figure as scanned and with the step."""
    front, back = to_density(made.front), to_density(made.back)
    seen = show_through.find(front, None, back, None, WHICH)
    cleaned = front if seen is None else without(front, seen.through)
    under = cv2.GaussianBlur(np.ascontiguousarray(made.other[:, ::-1]), (0, 0), 1.8) > 0.25
    lab, nothing = rgb2lab(made.clean), float("nan")
    gaps = [float(deltaE_ciede2000(rgb2lab(to_srgb(d, 8)), lab)[under].mean()) for d in (front, cleaned)]
    copies = [play(paper.plan_reading(d).steps, to_srgb(d, 16)) for d in (front, cleaned)]
    ink = [f_measure(otsu_ink(copy), made.ink > 0.5) if said else nothing for copy in copies]
    read = [error_rate(recognised(copy), said) if said and reads else nothing for copy in copies]
    marks = [nothing if said else float((copy[..., 1] < 128).mean()) for copy in copies]
    off = nothing if seen is None else placed_off(made, seen.step.way, under)
    return [float(seen is not None), off, *gaps, *ink, *read, *marks]


def placed_off(made: leaf.Leaf, way: Sequence[Sequence[float]], under: np.ndarray) -> float:
    """How far from where it is (px of the back, mean over its ink) the step says that the back lies."""
    rows, columns = (each[::199] for each in np.nonzero(under))
    one = np.ones(len(rows))
    height, width = under.shape
    said = np.array(way) @ np.array([(columns + 0.5) / width, (rows + 0.5) / height, one])
    said = said * np.array([[made.back.shape[1]], [made.back.shape[0]]]) - 0.5
    return float(np.hypot(*(said - made.placed @ np.array([columns, rows, one]))).mean())


def picture(path: Path) -> None:
    """Part of a front: as scanned; its reading copy without and with the scan of the back."""
    rng = np.random.default_rng(11)
    inks = [leaf.column(text(k, 3), 30, SHAPE)[0] for k in (0, 3)]
    made = leaf.leaf(rng, (inks[0], inks[1]), "severe", 0.2, strength=0.5)
    front = to_density(made.front)
    seen = show_through.find(front, None, to_density(made.back), None, WHICH)
    cleaned = front if seen is None else without(front, seen.through)
    copies = [play(paper.plan_reading(d).steps, to_srgb(d, 16)) for d in (front, cleaned)]
    shown = [each[40:380, 40:700] for each in (made.front, *copies)]
    gap = np.full((24, shown[0].shape[1], 3), 255, np.uint8)
    Image.fromarray(np.vstack([shown[0], gap, shown[1], gap, shown[2]])).save(path, quality=85)


if __name__ == "__main__":
    main()
