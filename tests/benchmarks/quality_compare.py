"""`compare` on photographs made into prints and simulated second scanners: coverage, detection, false alarms, marks.

SURROGATE_PHOTOGRAPHS=DIR python -m tests.benchmarks.quality_compare [FIRST COUNT | table FILE | sessions FIRST COUNT]

Pictures and seeds are others than those the constants were chosen on (`FITTED`). Every print is scanned at 600 ppi for
its master and at 300 ppi later; each case has a scanner of its own. `sessions` has six prints a session on one scanner,
without files: the session as built, and other ideas of what can stand in for a target.
"""

from __future__ import annotations

import json
import os
import sys
import tempfile
from pathlib import Path
from typing import Any

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from surrogate.condition.change import COMPARE_PX, DYES, Judged, judge, lay_over, verdict_of
from surrogate.condition.change_scanner import correction, read_target
from surrogate.condition.change_session import against_others
from surrogate.condition.change_tones import Tones, measure_tones
from surrogate.condition.change_verdict import INTERVAL, spread
from surrogate.condition.registration import register
from surrogate.imaging.density import to_density
from surrogate.imaging.read import read_reduced
from surrogate.records import Kind
from tests.simulate import second_scan as made

Row = dict[str, Any]

#: The constants of `compare` were chosen on the first pictures of this shuffle, with seeds from 70,000 on.
FITTED, SHUFFLE = 60, 99

#: Prints of one session in the second table.
SESSION = 6

CASES: dict[str, tuple[float, ...]] = {
    "no change": (1.0, 1.0, 1.0),
    "5 % of every dye": (0.95, 0.95, 0.95),
    "5 % of one dye": (0.95, 1.0, 1.0),
    "10 % of every dye": (0.9, 0.9, 0.9),
    "stain, 5 mm, dE 4": (1.0, 1.0, 1.0),
}

TOLD = list(CASES)[:3]


def photographs(folder: Path, count: int, first: int) -> list[np.ndarray]:
    """Pictures the constants were not chosen on, 8 bits, at most 640 px."""
    files = sorted(folder.glob("*.jpg"))
    order = np.random.default_rng(SHUFFLE).permutation(len(files))[FITTED + first : FITTED + first + count]
    return [np.asarray(read_reduced(files[index], 640).pixels, np.uint8) for index in order]


def registration_error(master: Path, scan: Path, truth: np.ndarray, scale: float, size: tuple[int, int]) -> float:
    """Mean distance over the picture, in pixels of the master."""
    old, new = read_reduced(master, COMPARE_PX), read_reduced(scan, 2 * COMPARE_PX)
    found = register(to_density(old.pixels), to_density(new.pixels))
    if found is None:
        return float("nan")
    width, height = size
    reduced = np.array([old.pixels.shape[1] / width, old.pixels.shape[0] / height])
    grid = np.stack(np.meshgrid(np.linspace(0, width, 9), np.linspace(0, height, 9)), axis=-1).reshape(-1, 2)
    seen = ((grid + 0.5) * reduced - 0.5) @ found[:, :2].T + found[:, 2]
    new_size = np.array([new.pixels.shape[1], new.pixels.shape[0]])
    whole = np.array(cv2.imread(str(scan), cv2.IMREAD_UNCHANGED).shape[1::-1])
    there = (seen + 0.5) * whole / new_size - 0.5
    apart = there - (grid @ truth[:, :2].T + truth[:, 2])
    return float(np.linalg.norm(apart, axis=1).mean() / scale)


def found_at(judged: Judged, middle_mm: tuple[float, float], px_per_mm: float) -> bool:
    """Whether a mark lies over the stain's middle."""
    x, y = (value * px_per_mm for value in middle_mm)
    return any(m.box_px[0] <= x <= m.box_px[0] + m.box_px[2] and m.box_px[1] <= y <= m.box_px[1] + m.box_px[3]
               for m in judged.marks)  # fmt: skip


def pair(photo: np.ndarray, number: int, folder: Path) -> list[Row]:
    """Every case on one picture, through files in ``folder``, with and without a target."""
    master, scan, card, card_then = (folder / f"{n}.tif" for n in ("master", "scan", "card", "then"))
    generator = np.random.default_rng(80_000 + number)
    original = made.printed(photo, generator)
    long_mm, border_mm = float(generator.uniform(55, 75)), float(generator.choice([0.0, 4.0]))
    made.scan_of_card(card_then, generator, None)
    patches = read_target(card_then)
    which = int(generator.integers(3))
    rows: list[Row] = []
    for case, shares in CASES.items():
        kept = tuple(np.roll(shares, which)) if case == "5 % of one dye" else shares
        now = made.sheet(photo, original, long_mm, border_mm=border_mm, kept=kept, seed=number)
        middle = None
        if case == "no change":
            made.first_scan(now, master, generator)
        if case.startswith("stain"):
            now, middle = made.stain(now, generator, 5.0, 4.0)
        scanner = made.draw_scanner(generator)
        truth = made.second_scan(now, scan, generator, scanner)
        made.scan_of_card(card, generator, scanner)
        laid = lay_over(master, scan, look_for_target=False)
        if isinstance(laid, str):
            rows.append({"case": case, "told by": "", "verdict": "not laid"})
            continue
        apart = None
        if case == "no change":
            apart = registration_error(master, scan, truth, 300 / made.MASTER_PPI, (now.shape[1], now.shape[0]))
        for told_by, target in (("base", None), ("target", correction(patches, read_target(card)))):
            judged, _ = judge(laid, Kind.COLOUR_PRINT, target)
            inside: list[bool] = []
            if judged.tones is not None:
                half = INTERVAL * np.sqrt(np.diag(spread(judged.tones.covariance, judged.evidence)))
                inside = [bool(v) for v in np.abs(judged.tones.loss - (1 - np.array(kept))) <= half]
            assert laid.px_per_mm is not None
            hit = middle is not None and found_at(judged, middle, laid.px_per_mm)
            rows.append({"case": case, "told by": told_by, "verdict": verdict_of(judged)[0], "inside": inside,
                         "marks": len(judged.marks), "hit": hit, "apart": apart})  # fmt: skip
    return rows


def table(rows: list[Row]) -> None:
    """Shares by case and evidence."""
    apart = [row["apart"] for row in rows if row.get("apart") is not None]
    print(f"not laid over each other: {sum(row['verdict'] == 'not laid' for row in rows)}")
    print(f"registration, px of the master: median {np.median(apart):.2f}, 95 % below {np.percentile(apart, 95):.2f}, "
          f"largest {np.max(apart):.2f}")  # fmt: skip
    print(
        f"{'':20}{'told by':8}{'pairs':>6}{'changed':>9}{'cannot say':>11}{'inside 95 %':>12}{'marks':>7}{'found':>7}"
    )
    for case in CASES:
        for told_by in ("base", "target"):
            some = [row for row in rows if (row["case"], row["told by"]) == (case, told_by)]
            said = [row["verdict"] for row in some]
            inside = [value for row in some for value in row["inside"]]
            print(f"{case:20}{told_by:8}{len(some):6}{said.count('changed') / len(some):9.3f}"
                  f"{said.count('cannot say') / len(some):11.3f}{np.mean(inside):12.3f}"
                  f"{np.mean([row['marks'] > 0 for row in some]):7.3f}"
                  f"{np.mean([row['hit'] for row in some]):7.3f}")  # fmt: skip


def scanned_in_sessions(pictures: list[np.ndarray], first: int) -> dict[tuple[str, str], list[Tones | None]]:
    """Tones by case and evidence ("base", "target"); pictures of one session, six, share a scanner."""
    found: dict[tuple[str, str], list[Tones | None]] = {}
    for number, photo in enumerate(pictures, first):
        generator = np.random.default_rng(85_000 + number)
        original = made.printed(photo, generator)
        session = made.draw_scanner(np.random.default_rng(86_000 + number // SESSION))
        sheets = {case: _reduced_sheet(photo, original, _kept(case, number), number) for case in TOLD}
        with tempfile.TemporaryDirectory() as name:
            then, now = Path(name) / "then.tif", Path(name) / "now.tif"
            made.scan_of_card(then, generator, None)
            made.scan_of_card(now, generator, session)
            told = correction(read_target(then), read_target(now))
        assert told is not None
        for case, sheet in sheets.items():
            seen = np.asarray(-np.log10(np.maximum(session.sees(10.0**-sheet, dyes=True), 1e-3)), np.float32)
            everywhere = np.ones(seen.shape[:2], bool)
            for by, picture in (("base", seen), ("target", np.asarray(told(seen), np.float32))):
                tones = measure_tones(sheets["no change"], picture, everywhere, DYES)
                found.setdefault((case, by), []).append(tones)
    return found


def _kept(case: str, number: int) -> tuple[float, ...]:
    return tuple(np.roll(CASES[case], number)) if case == "5 % of one dye" else CASES[case]


def _reduced_sheet(photo: np.ndarray, original: made.ColourPrint, kept: tuple[float, ...], number: int) -> np.ndarray:
    sheet = made.sheet(photo, original, 90.0, border_mm=0.0, kept=kept, seed=number)
    return cv2.resize(sheet, None, fx=0.4, fy=0.4, interpolation=cv2.INTER_AREA)


def sessions(pictures: list[np.ndarray], first: int) -> None:
    """The session as built, where one of six has changed; then detection of 5 % at 5 % false alarms by other ideas."""
    tones = scanned_in_sessions(pictures, first)

    def judged(found: Tones | None) -> Judged:
        return Judged(found, np.zeros(3), False, [], "base", False)

    print(f"{'':20}{'told by':9}{'prints':>7}{'changed':>9}{'cannot say':>11}{'inside 95 %':>12}")
    for case in TOLD:
        said, inside = [], []
        for place in range(len(pictures)):
            start = place // SESSION * SESSION
            members = [judged(one) for one in tones["no change", "base"][start : start + SESSION]]
            members[place - start] = judged(tones[case, "base"][place])
            mine = against_others(members)[place - start]
            said.append(verdict_of(mine)[0])
            if mine.tones is not None:
                half = INTERVAL * np.sqrt(np.diag(spread(mine.tones.covariance, mine.evidence)))
                lost = 1 - np.array(_kept(case, first + place))
                inside += [bool(one) for one in np.abs(mine.tones.loss - lost) <= half]
        print(f"{case:20}{'session':9}{len(said):7}{said.count('changed') / len(said):9.3f}"
              f"{said.count('cannot say') / len(said):11.3f}{np.mean(inside):12.3f}")  # fmt: skip

    def losses(case: str, by: str) -> np.ndarray:
        return np.array([np.full(3, np.nan) if one is None else one.loss for one in tones[case, by]])

    def largest(loss: np.ndarray) -> np.ndarray:
        return np.maximum(loss.max(axis=1), loss.mean(axis=1) * 1.2)

    ideas = {
        "base alone": lambda case: largest(losses(case, "base")),
        "dyes against each other": lambda case: np.ptp(losses(case, "base"), axis=1),
        "colour target": lambda case: largest(losses(case, "target")),
    }
    print("\ndetected at 5 % false alarms   every dye 5 %   one dye 5 %")
    for name, score in ideas.items():
        limit = np.nanpercentile(score("no change"), 95)
        shares = [float(np.nanmean(score(case) > limit)) for case in TOLD[1:]]
        print(f"{name:30}{shares[0]:14.2f}{shares[1]:14.2f}")


def main() -> None:
    """Print both tables; with FIRST and COUNT only that piece's rows, one JSON object a line, for `table FILE`."""
    rows: list[Row] = []
    if sys.argv[1:2] == ["table"]:
        table([json.loads(line) for line in Path(sys.argv[2]).read_text(encoding="utf-8").splitlines()])
        return
    folder = os.environ.get("SURROGATE_PHOTOGRAPHS")
    if not folder:
        print("skipped: SURROGATE_PHOTOGRAPHS is not set")
        return
    if sys.argv[1:2] == ["sessions"]:
        start, size = (int(value) for value in sys.argv[2:4])
        sessions(photographs(Path(folder), size, start), start)
        return
    first, count = (int(value) for value in sys.argv[1:3]) if len(sys.argv) > 2 else (0, 60)
    with tempfile.TemporaryDirectory() as name:
        for number, photo in enumerate(photographs(Path(folder), count, first), first):
            found = pair(photo, number, Path(name))
            rows += found
            if len(sys.argv) > 2:
                print("\n".join(json.dumps(row) for row in found), flush=True)
    if len(sys.argv) == 1:
        table(rows)
        sessions(photographs(Path(folder), 36, 0), 0)


if __name__ == "__main__":
    main()
