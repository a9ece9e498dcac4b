"""Silver prints: recovered tones against the print before it aged, on an ageing that the fit never saw.

    SURROGATE_PHOTOGRAPHS=DIR python tests/benchmarks/quality_silver.py [PHOTOGRAPHS] [--seed S]

DIR holds the photographs and their `index.tsv`; only sources kept for reporting are used. Prints are aged by
tests/simulate/silver_print.py and scanned by tests/simulate/scanner.py. Figures are CIEDE2000 (mean over a picture)
to the print before it aged: median and, in brackets, 90th percentile over prints. Toned and hand-coloured prints: how
far the copy moved from the scan.
"""

import argparse
import os
import sys
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
from skimage.color import deltaE_ciede2000, rgb2lab

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "fit"))

from fit_silver import pictures

from surrogate.condition.fade_silver import estimate
from surrogate.copies.fidelity import measure
from surrogate.imaging.density import to_density
from surrogate.records import Tone
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


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("photographs", type=int, nargs="?", default=40)
    parser.add_argument("--seed", type=int, default=11)
    options = parser.parse_args()
    if "SURROGATE_PHOTOGRAPHS" not in os.environ:
        print("skipped: SURROGATE_PHOTOGRAPHS names no folder of photographs")
        return
    rng = np.random.default_rng(options.seed)
    paths = pictures(Path(os.environ["SURROGATE_PHOTOGRAPHS"]), report=True)
    photos = [photograph(paths[i]) for i in rng.permutation(len(paths))[: options.photographs]]
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
