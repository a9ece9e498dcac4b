"""Silver prints: recovered tones against the print before it aged, on an ageing that the fit never saw.

    SURROGATE_PHOTOGRAPHS=DIR python tests/benchmarks/quality_silver.py [PHOTOGRAPHS] [--seed S] [--only contrast|tones]

DIR holds the photographs and their `index.tsv`; only sources kept for reporting are used. Prints are aged by
tests/simulate/silver_print.py and scanned by tests/simulate/scanner.py. Figures are CIEDE2000 (mean over a picture)
to the print before it aged: median and, in brackets, 90th percentile over prints. Contrast: error of the loss that
`condition` states, and the grades. Toned and hand-coloured prints: how
far the copy moved from the scan.
"""

import argparse
import os
import sys
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
from skimage.color import deltaE_ciede2000, rgb2lab

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "fit"))

from fit_silver import pictures

from surrogate.condition.fade_silver import estimate
from surrogate.condition.measure import measure as measured
from surrogate.copies.fidelity import measure
from surrogate.imaging.density import to_density
from surrogate.records import Kind, Side, Tone
from surrogate.recovery import silver_print as planner
from surrogate.recovery.play import play
from tests.benchmarks import automatic
from tests.simulate import LEVELS, scanner, silver_print, tone

LONG_EDGE_PX = 480
Codes = np.ndarray


def photograph(path: Path) -> np.ndarray:
    """Linear picture, long edge at most LONG_EDGE_PX."""
    codes = cv2.cvtColor(cv2.imread(str(path)), cv2.COLOR_BGR2RGB)
    scale = min(1.0, LONG_EDGE_PX / max(codes.shape[:2]))
    size = (round(codes.shape[1] * scale), round(codes.shape[0] * scale))
    return tone.from_codes8(cv2.resize(codes, size, interpolation=cv2.INTER_AREA))


def recovered(scan: Codes) -> Codes:
    density = to_density(scan)
    return play(planner.plan(density, estimate(density), Tone.AS_FOUND, 1.0).steps, scan)


WAYS: dict[str, Callable[[Codes], Codes]] = {
    "do nothing": lambda scan: scan,
    "surrogate": recovered,
    **automatic.SILVER,
}


def difference(one: Codes, two: Codes) -> float:
    return float(deltaE_ciede2000(rgb2lab(one), rgb2lab(two)).mean())


def scanned(light: np.ndarray, rng: np.random.Generator) -> Codes:
    return tone.to_codes8(scanner.scan(light, scanner.sample(rng)))


def toned(photo: np.ndarray, kind: str) -> np.ndarray:
    """A print with deliberate colour, linear: sepia, cyanotype, or coloured by hand over silver."""
    if kind == "sepia":
        return silver_print.sepia_toned(photo)
    silver = tone.shoulder(tone.density(tone.luminance(photo)), 1.7)[..., None]
    if kind == "cyanotype":  # Prussian blue absorbs red most (shares from memory of its reflection spectrum)
        return tone.reflectance(0.08 + silver * np.array([1.25, 0.85, 0.5], np.float32))
    colour = tone.density(photo) - tone.density(photo).mean(axis=2, keepdims=True)
    return tone.reflectance(0.08 + silver + 0.45 * cv2.GaussianBlur(colour, (0, 0), 3))


def contrast(photos: list[np.ndarray], rng: np.random.Generator) -> None:
    """The stated loss against the red density that is gone, which it means, and against the image silver that is: what
    turned brown still darkens a little.
    """
    print("\ncontrast: error of the loss, silver / density, median (90th percentile); density inside 68 %; grades")
    for level in LEVELS:
        silver, density, inside, grades = [], [], [], Counter[str]()
        for photo in photos:
            original = silver_print.sample(rng, level)
            fresh, aged = silver_print.print_of(photo, original)
            unstained = replace(original, browned=0.0, yellowing=0.0, mirror=0.0)
            _, bleached = silver_print.print_of(photo, unstained)
            found = measured(to_density(scanned(aged, rng)), kind=Kind.SILVER_PRINT, side=Side.RECTO, ppi=None)
            fade = found.condition.fade
            grades[fade.grade.value] += 1
            if fade.density_loss is not None and fade.uncertainty is not None:
                silver.append(abs(fade.density_loss[0] - gone(fresh, bleached, unstained)))
                density.append(abs(fade.density_loss[0] - gone(fresh, aged, original)))
                inside.append(density[-1] <= fade.uncertainty[0])
        print(f"{level:9} {_spread(silver)} / {_spread(density)}; {np.mean(inside):.2f}; {dict(grades)}")


def _spread(values: list[float]) -> str:
    return f"{np.median(values):.3f} ({np.quantile(values, 0.9):.3f})"


def gone(fresh: np.ndarray, aged: np.ndarray, original: silver_print.SilverPrint) -> float:
    """Share of the red density above the base that is gone; what yellow stain absorbs of red is taken off."""
    before = tone.density(fresh)[..., 0] - original.base_density
    now = tone.density(aged)[..., 0] - original.base_density - original.yellowing * silver_print.YELLOW[0]
    return float(1 - now.sum() / before.sum())


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("photographs", type=int, nargs="?", default=40)
    parser.add_argument("--seed", type=int, default=11)
    parser.add_argument("--only", choices=("contrast", "tones"))
    options = parser.parse_args()
    if "SURROGATE_PHOTOGRAPHS" not in os.environ:
        print("skipped: SURROGATE_PHOTOGRAPHS names no folder of photographs")
        return
    rng = np.random.default_rng(options.seed)
    paths = pictures(Path(os.environ["SURROGATE_PHOTOGRAPHS"]), report=True)
    photos = [photograph(paths[i]) for i in rng.permutation(len(paths))[: options.photographs]]
    if options.only != "tones":
        contrast(photos, np.random.default_rng(options.seed + 1))
    if options.only != "contrast":
        tones(photos, rng)


def tones(photos: list[np.ndarray], rng: np.random.Generator) -> None:
    """Copies against the prints before they aged, beside automatic corrections; then deliberate tones."""
    found: dict[str, dict[str, list[float]]] = {way: {level: [] for level in LEVELS} for way in WAYS}
    structure = []
    for level in LEVELS:
        for photo in photos:
            fresh, aged = silver_print.print_of(photo, silver_print.sample(rng, level))
            scan, truth = scanned(aged, rng), tone.to_codes8(fresh)
            for way, correct in WAYS.items():
                copy = correct(scan)
                found[way][level].append(difference(copy, truth))
                if way == "surrogate":
                    structure.append(measure(scan, copy, []).structure)
    print(f"{len(photos)} photographs; median (90th percentile) CIEDE2000 to the print before it aged")
    print(f"{'':28}" + "".join(f"{level:>14}" for level in LEVELS))
    for way, levels in found.items():
        cells = [f"{np.median(v):6.2f} ({np.quantile(v, 0.9):5.2f})" for v in levels.values()]
        print(f"{way:28}" + "".join(f"{c:>14}" for c in cells))
    print(f"structure, 5th percentile: {np.quantile(structure, 0.05):.3f}")
    for kind in ("sepia", "cyanotype", "coloured by hand"):
        scans = [scanned(toned(photo, kind), rng) for photo in photos]
        moved = [difference(recovered(scan), scan) for scan in scans]
        kept = np.mean(np.array(moved) <= 1.5)
        print(f"{kind}: moved {np.median(moved):.2f} (90th {np.quantile(moved, 0.9):.2f}); {kept:.0%} within 1.5")


if __name__ == "__main__":
    main()
