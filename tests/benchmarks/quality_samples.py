"""How near the viewing copies of the sample scans come to the unfaded originals.

    python tests/benchmarks/quality_samples.py DEMO_FOLDER

Per sample scan with a known truth: median CIEDE2000 of the scan to the truth, of the viewing copy to the truth, and of
the copy to the scan (for what should stay as it is), and how much of the original the copy still shows. Pictures are
compared at `LONG_EDGE` px, so grain and scanner noise are averaged out of all three alike. A copy may be cropped and
straightened, so it is registered to the truth by its content (enhanced correlation coefficient, Evangelidis and
Psarakis 2008), not by what the program says it did.
"""

import json
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image as PillowImage
from skimage.color import deltaE_ciede2000

sys.path.insert(0, str(Path(__file__).parents[1]))
from make_sample_scans import SAMPLES
from simulate.colorimetry import linear_srgb_to_lab
from simulate.staging import Scan, Truth, generator
from simulate.tone import Image, encode_srgb, from_codes8, luminance

LONG_EDGE = 480
LEAST_CORRELATION = 0.55
"""Below this the copy does not show the picture of the truth. Measured on two collections of the sample scans: right
pairs 0.68 and more, wrong pairs at most 0.40."""

Matrix = NDArray[np.float64]


def reduced(picture: Image, factor: float) -> Image:
    """The picture smaller by `factor`, so that all of them are sampled as finely as the truth."""
    size = (max(round(picture.shape[1] * factor), 1), max(round(picture.shape[0] * factor), 1))
    return np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), np.float32)


def box(width: int, height: int) -> Matrix:
    """Corner pixels of a picture, clockwise from top left."""
    return np.array([[0, 0], [width - 1, 0], [width - 1, height - 1], [0, height - 1]], np.float64)


def homography(source: Matrix, target: Matrix) -> Matrix:
    """3x3 that takes the four source points to the target points."""
    return np.asarray(cv2.getPerspectiveTransform(source.astype(np.float32), target.astype(np.float32)), np.float64)


def edges(picture: Image) -> NDArray[np.float32]:
    """Strength of the edges of L*-like tone: the same whether a copy is paler, flatter, toned or even inverted."""
    tone = cv2.GaussianBlur(encode_srgb(luminance(picture)), (0, 0), 1.0)
    strength = cv2.magnitude(cv2.Sobel(tone, cv2.CV_32F, 1, 0), cv2.Sobel(tone, cv2.CV_32F, 0, 1))
    return np.asarray(np.sqrt(strength), np.float32)


def found_at(truth: Image, copy: Image) -> Matrix:
    """(x, y) in the truth at which the top left of the copy lies best, neither turned nor scaled.

    No sample scan is larger than a viewing copy may be, so copies have the scan's own scale, however they are cropped.
    """
    window = edges(copy)
    height, width = window.shape
    field = cv2.copyMakeBorder(edges(truth), height, height, width, width, cv2.BORDER_CONSTANT, value=0)
    _, _, _, (x, y) = cv2.minMaxLoc(cv2.matchTemplate(field, window, cv2.TM_CCOEFF))
    return np.array([x - width, y - height], np.float64)


def registered(truth: Image, copy: Image, first: Matrix) -> tuple[float, Image]:
    """(correlation, the copy seen in the frame of the truth, NaN where it was cropped), from a `first` guess."""
    template, moving = edges(truth), edges(copy)
    warp, best = first.astype(np.float32), -1.0
    for blur in (21, 5):
        stop = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 60, 1e-5)
        try:
            best, warp = cv2.findTransformECC(template, moving, warp, cv2.MOTION_HOMOGRAPHY, stop, None, blur)
        except cv2.error:  # no overlap left, or nothing to hold on to
            return -1.0, truth
    size = (truth.shape[1], truth.shape[0])
    nothing = (float("nan"),) * 3
    seen = cv2.warpPerspective(copy, warp, size, flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP, borderValue=nothing)
    return float(best), np.asarray(seen, np.float32)


def difference(one: Image, other: Image) -> float:
    """Median CIEDE2000 (CIE 142, CIELAB D50) of what both show, the outermost 2 % left out."""
    edge = max(round(0.02 * max(one.shape[:2])), 1)
    inner = (slice(edge, -edge), slice(edge, -edge))
    return float(np.nanmedian(deltaE_ciede2000(linear_srgb_to_lab(one[inner]), linear_srgb_to_lab(other[inner]))))


@dataclass(frozen=True)
class Figures:
    """Median CIEDE2000 of scan to truth, copy to truth, copy to scan, and the share of the truth that the copy shows.

    The last three are None where no copy shows that picture.
    """

    before: float
    after: float | None = None
    change: float | None = None
    shown: float | None = None


@dataclass(frozen=True)
class Beside:
    """One original in one frame, linear light: as it was, its scan, and its copy (None where no copy shows it)."""

    truth: Image
    scan: Image
    copy: Image | None


def beside(scan: Scan, truth: Truth, copies: list[Image]) -> Beside:
    """One truth, with the copy that shows it best laid over it."""
    factor = min(1.0, LONG_EDGE / max(truth.unfaded.shape[:2]))
    new = reduced(np.clip(truth.unfaded, 0.0, 1.0), factor)
    target = box(new.shape[1], new.shape[0])
    flat = cv2.warpPerspective(
        reduced(scan.light, factor), homography(truth.quad * factor, target), (new.shape[1], new.shape[0])
    )
    now = np.clip(np.asarray(flat, np.float32), 0.0, 1.0)
    best, found = -1.0, new
    for copy in copies:
        small = reduced(copy, factor)
        share = np.array([small.shape[1] / scan.light.shape[1], small.shape[0] / scan.light.shape[0]])
        for guess in (truth.quad * share, target - found_at(new, small)):
            trial = registered(new, small, homography(target, guess))
            if trial[0] > best:
                best, found = trial
    return Beside(new, now, None if best < LEAST_CORRELATION else found)


def compared(scan: Scan, truth: Truth, copies: list[Image]) -> Figures:
    """The figures of one truth, with the copy that shows it best."""
    return figures(beside(scan, truth, copies))


def figures(all_three: Beside) -> Figures:
    new, now, found = all_three.truth, all_three.scan, all_three.copy
    if found is None:
        return Figures(difference(new, now))
    shown = float(np.isfinite(found[..., 0]).mean())
    return Figures(difference(new, now), difference(new, found), difference(now, found), shown)


def viewing_copies(folder: Path, file: str) -> list[Image]:
    """Linear viewing copies of the original whose master was scanned as `file`, of that side, whole and in parts."""
    manifest: dict[str, Any] = json.loads((folder / "manifest.json").read_text(encoding="utf-8"))
    pictures = []
    for original in manifest["originals"]:
        for master in original["masters"]:
            if Path(master["scanned_as"]).name != file:
                continue
            for copy in original["copies"]:
                if copy["use"] == "viewing" and copy["side"] == master["side"]:
                    with PillowImage.open(folder / copy["file"]) as picture:
                        pictures.append(from_codes8(np.asarray(picture.convert("RGB"))))
    return pictures


def main() -> None:
    """Print the table for the collection folder named on the command line, else for `demo`."""
    folder = Path(sys.argv[1] if len(sys.argv) > 1 else "demo")
    print("Median CIEDE2000 of scan to truth, viewing copy to truth, copy to scan; share of the original that is shown")
    print(f"{'sample scan':36s}{'part':6s}{'scan':>7s}{'copy':>7s}{'change':>8s}{'shown':>7s}")
    for sample in SAMPLES:
        scan = sample.scene(generator(sample.file))
        copies = viewing_copies(folder, sample.file) if scan.truths else []
        for truth in scan.truths:
            got = compared(scan, truth, copies)
            rest = "   not found in a copy"
            if got.after is not None:
                rest = f"{got.after:7.2f}{got.change:8.2f}{got.shown:7.0%}"
            print(f"{sample.file:36s}{truth.part:6s}{got.before:7.2f}{rest}")


if __name__ == "__main__":
    main()
