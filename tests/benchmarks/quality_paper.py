"""Clippings and pencilled backs: text recognised from the reading copy, ink found, blank pages, tape.

    python tests/benchmarks/quality_paper.py [PAGES] [--seed S]

Pages are set in the free fonts beside tests/simulate and aged by tests/simulate (newsprint, handwriting, scanner),
which the planners were not tuned on; "own" levels are the harder family of tests/fit/ageing_page.py that they were
tuned on, with other seeds. Text is recognised by Tesseract 5; CER = character error rate against the text that was
set. F = F-measure of the ink by one global Otsu threshold. Sauvola and Otsu are scikit-image's.
"""

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import cv2
import numpy as np
from PIL import Image
from skimage.color import deltaE_ciede2000, rgb2lab
from skimage.filters import threshold_otsu, threshold_sauvola

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from surrogate.imaging.density import to_density
from surrogate.recovery import paper
from surrogate.recovery.play import play
from tests.fit import ageing_page
from tests.simulate import handwriting, lettering, newsprint, scanner, tone

Codes = np.ndarray
SHAPE = (1000, 900)
#: Recognition on a copy reduced to this share as well: pixels averaged, which lifts faint pencil out of noise.
REDUCED = 0.5


def recognised(codes: Codes) -> str:
    """Text of one page by Tesseract, page taken as one block."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "page.png"
        Image.fromarray(codes).save(path, dpi=(300, 300))
        command = ["tesseract", str(path), "-", "--psm", "6", "-l", "eng"]
        environment = {**os.environ, "OMP_THREAD_LIMIT": "1"}
        return subprocess.run(command, capture_output=True, text=True, check=True, env=environment).stdout


def error_rate(found: str, truth: str) -> float:
    """Levenshtein distance over the length of the truth, white space folded; at most 1."""
    a, b = " ".join(found.split()), " ".join(truth.split())
    row = list(range(len(b) + 1))
    for i, one in enumerate(a, 1):
        before, row[0] = row[0], i
        for j, two in enumerate(b, 1):
            before, row[j] = row[j], min(row[j] + 1, row[j - 1] + 1, before + (one != two))
    return min(row[-1] / max(len(b), 1), 1.0)


def otsu_ink(codes: Codes) -> np.ndarray:
    grey = cv2.cvtColor(codes, cv2.COLOR_RGB2GRAY)
    return grey < threshold_otsu(grey) if grey.min() < grey.max() else np.zeros(grey.shape, bool)


def sauvola(codes: Codes) -> Codes:
    grey = cv2.cvtColor(codes, cv2.COLOR_RGB2GRAY)
    return np.uint8(np.where(grey < threshold_sauvola(grey, 25, k=0.2), 0, 255))[..., None] + codes * 0


def f_measure(found: np.ndarray, truth: np.ndarray) -> float:
    hit = (found & truth).sum()
    return float(2 * hit / max(found.sum() + truth.sum(), 1))


def reading(scan: Codes) -> Codes:
    return play(paper.plan_reading(to_density(scan)).steps, scan)


def viewing(scan: Codes) -> Codes:
    return play(paper.plan_viewing(to_density(scan), 1.0).steps, scan)


def set_text(text: str) -> tuple[np.ndarray, str]:
    """(ink, the text that found room)."""
    box = (60.0, 60.0, SHAPE[1] - 120.0, SHAPE[0] - 120.0)
    ink, rest = lettering.column(np.zeros(SHAPE, np.float32), text, lettering.SERIF, 30, box)
    return ink, text[: len(text) - len(rest)] if rest else text


def clipping(index: int, level: str, rng: np.random.Generator) -> tuple[Codes, np.ndarray, str]:
    ink, text = set_text(ageing_page.TEXTS[index % 6])
    other, _ = set_text(ageing_page.TEXTS[(index + 2) % 6])
    _, aged = newsprint.page_of(ink, other, newsprint.sample(rng, level, SHAPE))
    return tone.to_codes8(scanner.scan(aged, scanner.sample(rng))), ink > 0.5, text


def pencilled(index: int, level: str, rng: np.random.Generator) -> tuple[Codes, np.ndarray, str]:
    """A note in plain letters, so that the recogniser's own trouble with handwriting is left out."""
    text = ageing_page.NOTES[index % 5]
    ink = ageing_page.ink_of(text, (ageing_page.ITALIC, ageing_page.SANS)[index % 2], 52, (700, 900))
    sheet = handwriting.writing_paper(rng, (700, 900)) + handwriting.pencil(ink, handwriting.sample_pencil(rng, level))
    light = scanner.scan(tone.reflectance(sheet), scanner.sample(rng))
    return tone.to_codes8(light), ink > 0.5, text


def own(level: str, index: int, seed: int) -> tuple[Codes, np.ndarray, str]:
    scan, coverage, text = ageing_page.example(level, index, seed)
    return scan, coverage > 0.5, text


def reduced(codes: Codes) -> Codes:
    return cv2.resize(codes, None, fx=REDUCED, fy=REDUCED, interpolation=cv2.INTER_AREA)


def row(name: str, pages: list[tuple[Codes, np.ndarray, str]]) -> None:
    """One line: CER of scan, Sauvola, reading copy, reduced reading copy; F of scan and copy; pages where F fell."""
    errors, measures = [], []
    for scan, ink, text in pages:
        copy = reading(scan)
        ways = (scan, sauvola(scan), copy, reduced(copy))
        errors.append([error_rate(recognised(way), text) for way in ways])
        measures.append([f_measure(otsu_ink(scan), ink), f_measure(otsu_ink(copy), ink)])
    e, f = np.array(errors).mean(0), np.array(measures)
    worse = int((f[:, 1] < f[:, 0] - 0.005).sum())
    print(f"{name:26}" + "".join(f"{v:9.3f}" for v in (*e, *f.mean(0))) + f"{worse:7d}", flush=True)


def blank(rng: np.random.Generator, level: str) -> float:
    """Share of a blank aged page that a fixed threshold at mid-grey calls ink."""
    nothing = np.zeros(SHAPE, np.float32)
    _, aged = newsprint.page_of(nothing, nothing, newsprint.sample(rng, level, SHAPE))
    return float((reading(tone.to_codes8(scanner.scan(aged, scanner.sample(rng))))[..., 1] < 128).mean())


def tape(index: int, rng: np.random.Generator) -> tuple[float, float, float]:
    """CIEDE2000 between taped and bare paper: scan, viewing copy, reading copy (medians over paper)."""
    sheet = newsprint.sample(rng, "medium", SHAPE)
    plain = {**sheet.__dict__, "tape_boxes": ((0, 500, SHAPE[1], 70),), "folds": (), "tide_px": 0.0, "foxing": 0}
    ink, _ = set_text(ageing_page.TEXTS[index % 6])
    _, aged = newsprint.page_of(ink, ink * 0, newsprint.Newsprint(**plain))
    scan = tone.to_codes8(scanner.scan(aged, scanner.sample(rng)))
    bare = cv2.dilate(np.uint8(ink > 0.05), np.ones((9, 9))) == 0
    over, beside = bare.copy(), bare.copy()
    over[:508], over[562:] = False, False
    beside[:420], beside[492:578], beside[650:] = False, False, False

    def gap(codes: Codes) -> float:
        lab = rgb2lab(codes)
        return float(deltaE_ciede2000(np.median(lab[over], axis=0), np.median(lab[beside], axis=0)))

    return gap(scan), gap(viewing(scan)), gap(reading(scan))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("pages", type=int, nargs="?", default=6)
    parser.add_argument("--seed", type=int, default=21)
    options = parser.parse_args()
    rng = np.random.default_rng(options.seed)
    blanks = [blank(rng, level) for level in ("mild", "medium", "severe") for _ in range(options.pages)]
    print(f"blank aged pages called ink: mean {np.mean(blanks):.5f}, most {np.max(blanks):.5f}")
    gaps = np.array([tape(i, rng) for i in range(options.pages)])
    shares = np.median(gaps[:, 1:] / gaps[:, :1], axis=0)
    print(f"tape: CIEDE2000 {np.median(gaps[:, 0]):.1f} on the scan; share of it left in the viewing copy", end=" ")
    print(f"{shares[0]:.2f}, in the reading copy {shares[1]:.2f}")
    if not shutil.which("tesseract"):
        print("skipped: text recognition, Tesseract is not installed")
        return
    print(f"\n{'':26}{'scan':>9}{'Sauvola':>9}{'reading':>9}{'halved':>9}{'F scan':>9}{'F copy':>9}{'worse':>7}")
    pages = range(options.pages)
    for level in ("unfaded", "mild", "medium", "severe"):
        row(f"newsprint {level}", [clipping(i, level, rng) for i in pages])
    for level in ("mild", "medium", "severe"):
        row(f"pencil {level}", [pencilled(i, level, rng) for i in pages])
    for level in ageing_page.LEVELS:
        row(f"own {level}", [own(level, i, 900 + options.seed) for i in pages])


if __name__ == "__main__":
    main()
