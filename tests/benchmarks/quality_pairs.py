"""Fronts and backs: naming schemes, and folders put together from real photographs and drawn backs, letters, clippings.

Run: SURROGATE_PHOTOGRAPHS=<folder> python tests/benchmarks/quality_pairs.py [FOLDERS]

The photographs are of sources that no parameter was chosen on; their looks are measured, the folders composed from
those looks with seeds that no parameter was chosen on. Sizes of prints and papers: common practice, no source.
"""

import csv
import os
import random
import sys
import zlib
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

import test_intake_pairing as schemes
from simulate import handwriting, lettering, scenes
from simulate.tone import reflectance, to_codes8

from surrogate import sides
from surrogate.intake.evidence import Look
from surrogate.intake.looks import back_likeness
from surrogate.intake.pairing import pair_by_name

FIRST_SEED = 200_000
PRINTS_MM = [(89, 127), (102, 152), (127, 178), (60, 60), (64, 108), (88, 140), (203, 254), (76, 76), (45, 60)]
PAPERS_MM = [(148, 210), (210, 297), (180, 230), (105, 148), (90, 160)]
BED_MM = (215.9, 297.0)
WORDS = ["Spring fair", "Miss Ames", "the ferry", "Grandfather", "Cousins 1931", "new barn", "harbour", "two dogs"]


def drawn_back(rng):
    """Bare or written paper of a print's back: white, cream or grey, with up to five pencilled or penned lines."""
    shape = (480, 680)
    base = np.array([0.05, 0.055, 0.07]) + np.array([0.02, 0.04, 0.12]) * rng.random() + 0.15 * rng.random() ** 3
    paper = handwriting.writing_paper(rng, shape, tuple(base))
    count = int(rng.integers(6))
    rows = [(60.0 + 150 * rng.random(), 90.0 + 66.0 * n, " ".join(rng.choice(WORDS, 3))) for n in range(count)]
    strokes = lettering.hand(rng, shape, lettering.PENCIL, 40.0, rows) if rows else np.zeros(shape, np.float32)
    pencilled = rng.random() < 0.7
    hand = handwriting.sample_pencil(rng, "mild") if pencilled else handwriting.sample_pen(rng, "medium")
    written = handwriting.pencil(strokes, hand) if pencilled else handwriting.pen(strokes, hand)
    return to_codes8(reflectance(paper + written))


def pool(folder):
    """Measured likenesses: of photographs, backs, and letters and clippings."""
    rows = csv.DictReader((folder / "index.tsv").open(encoding="utf-8"), delimiter="\t")
    files = [row["file"] for row in rows if zlib.crc32(row["source"].split("@")[0].encode()) % 2]
    fronts = [back_likeness(np.ascontiguousarray(cv2.imread(str(folder / file))[..., ::-1])) for file in files]
    backs = [back_likeness(drawn_back(np.random.default_rng(FIRST_SEED + n))) for n in range(60)]
    papers = []
    for n in range(6):
        for scene in (scenes.letter, scenes.clipping):
            scan = scene(np.random.default_rng(FIRST_SEED + n))
            papers.append(back_likeness(to_codes8(scan.light)))
    return fronts, backs, papers


class Folder:
    """A folder being put together; every scan gets the next number of the counter."""

    def __init__(self, rng, likenesses, form, bed, name):
        self.rng, self.likenesses, self.form, self.bed, self.name = rng, likenesses, form, bed, name
        self.items, self.true = [], set()

    def measured(self, size):
        if self.bed:
            return BED_MM
        return tuple(round(side * self.rng.uniform(0.993, 1.007), 2) for side in size)

    def size(self):
        return self.rng.choice(PRINTS_MM) if self.form is None else self.form

    def front(self, size):
        return (self.measured(size), self.rng.choice(self.likenesses[0]))

    def back(self, size):
        return (self.measured(size), self.rng.choice(self.likenesses[1]))

    def paper(self):
        return (self.measured(self.rng.choice(PAPERS_MM)), self.rng.choice(self.likenesses[2]))

    def done(self, items, true):
        """(names, looks, true pairs); ``true`` are pairs of items."""
        names = [self.name(place) for place in range(len(items))]
        looks = {name: Look(name, size, back, frame=self.bed) for name, (size, back) in zip(names, items, strict=True)}
        place = {id(item): name for item, name in zip(items, names, strict=True)}
        return names, looks, {(place[id(front)], place[id(back)]) for front, back in true}


def ordered(folder, count):
    pairs = [(folder.front(size), folder.back(size)) for size in (folder.size() for _ in range(count))]
    return folder.done([side for pair in pairs for side in pair], pairs)


def some_backs(folder, count):
    items, true = [], []
    for _ in range(2 * count):
        size = folder.size()
        items.append(folder.front(size))
        if folder.rng.random() < 0.4:
            items.append(folder.back(size))
            true.append((items[-2], items[-1]))
    return folder.done(items, true)


def halves(folder, count, reverse=False):
    pairs = [(folder.front(size), folder.back(size)) for size in (folder.size() for _ in range(count))]
    backs = [back for _, back in pairs]
    return folder.done([front for front, _ in pairs] + (backs[::-1] if reverse else backs), pairs)


def turned(folder, count):
    return halves(folder, count, reverse=True)


def fronts_only(folder, count):
    return folder.done([folder.front(folder.size()) for _ in range(3 * count)], [])


def with_papers(folder, count):
    items = [folder.front(folder.size()) if folder.rng.random() < 0.6 else folder.paper() for _ in range(3 * count)]
    return folder.done(items, [])


def papers_after(folder, count):
    return folder.done([folder.front(folder.size()) for _ in range(count)] + [folder.paper() for _ in range(count)], [])


def papers_only(folder, count):
    return folder.done([folder.paper() for _ in range(2 * count)], [])


def shuffled(folder, count):
    pairs = [(folder.front(size), folder.back(size)) for size in (folder.size() for _ in range(count))]
    items = [side for pair in pairs for side in pair]
    folder.rng.shuffle(items)
    return folder.done(items, pairs)


def counter(place):
    return f"scan{place + 1:04}.tif"


def telephone(place):
    return f"IMG_20240{1 + place // 28 % 9}{1 + place % 28:02}_1{place % 10}{place % 6}530.jpg"


def words(place):
    return f"{WORDS[place * 7 % len(WORDS)]} {chr(97 + place * 11 % 26)}{chr(97 + place * 5 % 26)}.jpg"


#: (what it is, how it is composed, one form for all, whole bed scanned, names)
ARRANGEMENTS = [
    ("front, back; sizes seen", ordered, None, False, counter),
    ("front, back; one size", ordered, (102, 152), False, counter),
    ("front, back; whole bed", ordered, None, True, counter),
    ("some have backs", some_backs, None, False, counter),
    ("some have backs; whole bed", some_backs, None, True, counter),
    ("all fronts, all backs", halves, None, False, counter),
    ("the stack turned over", turned, None, False, counter),
    ("all fronts, all backs; one size", halves, (102, 152), False, counter),
    ("fronts only", fronts_only, None, False, counter),
    ("fronts only; whole bed", fronts_only, None, True, counter),
    ("letters among photographs", with_papers, None, False, counter),
    ("letters among them; whole bed", with_papers, None, True, counter),
    ("photographs, then letters", papers_after, None, False, counter),
    ("photographs, letters; whole bed", papers_after, None, True, counter),
    ("letters only; whole bed", papers_only, None, True, counter),
    ("shuffled; sizes seen", shuffled, None, False, counter),
    ("shuffled; one size", shuffled, (102, 152), False, counter),
    ("shuffled; whole bed", shuffled, None, True, counter),
    ("names of their own", ordered, None, False, words),
]


def name_figures():
    right = wrong = 0
    for front, back in schemes.NAMES_SAY_SO:
        pairs = schemes.folder(front, back)
        names = [name for pair in pairs for name in pair]
        random.Random(front).shuffle(names)
        right += schemes.made(pair_by_name(names)) == set(pairs)
    for front, back in schemes.PICTURES_MUST_AGREE:
        pairs = schemes.folder(front, back)
        names = [name for pair in pairs for name in pair]
        looks = {n: Look(n, schemes.SHEET, b) for pair in pairs for n, b in zip(pair, (0.05, 0.97), strict=True)}
        right += schemes.made(pair_by_name(names, looks)) == set(pairs)
    for names in schemes.NOT_SIDES.values():
        wrong += len(schemes.made(pair_by_name(names)))
    count = len(schemes.NAMES_SAY_SO) + len(schemes.PICTURES_MUST_AGREE)
    print(f"naming schemes: {count}, all right {right}; folders whose names mean something else: ", end="")
    print(f"{len(schemes.NOT_SIDES)}, wrong pairs {wrong}")


def main():
    name_figures()
    folder = os.environ.get("SURROGATE_PHOTOGRAPHS")
    if not folder:
        print("set SURROGATE_PHOTOGRAPHS to a folder of photographs with its index.tsv")
        return
    cv2.setNumThreads(1)
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    likenesses = pool(Path(folder))
    print("likeness to a back, share above 0.75: ", end="")
    for what, values in zip(("photographs", "backs", "letters and clippings"), likenesses, strict=True):
        print(f"{what} {np.mean(np.array(values) >= 0.75):.3f} of {len(values)}; ", end="")
    print()
    print(f"{'arrangement':33}{'folders':>8}{'scans':>7}{'true':>6}{'found':>7}{'wrong pairs':>12}{'in folders':>11}")
    total = 0
    for what, compose, form, bed, name in ARRANGEMENTS:
        true_count = found_count = wrong_count = scans = spoilt = 0
        for place in range(count):
            rng = random.Random(FIRST_SEED + place)
            names, looks, true = compose(Folder(rng, likenesses, form, bed, name), rng.randint(2, 12))
            given = names[:]
            rng.shuffle(given)
            found = sides.settle(given, given, {}, lambda some, looks=looks: {n: looks[n] for n in some})
            made = schemes.made(found.groups)
            scans += len(names)
            true_count += len(true)
            found_count += len(made & true)
            wrong_count += len(made - true)
            spoilt += bool(made - true)
        total += wrong_count
        share = f"{found_count / true_count:7.3f}" if true_count else "      -"
        print(f"{what:33}{count:8}{scans:7}{true_count:6}{share}{wrong_count:12}{spoilt:11}")
    print(f"wrong pairs in all: {total}")


if __name__ == "__main__":
    main()
