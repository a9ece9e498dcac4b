"""Has an original changed since its master was scanned? The old scan and a new one, laid over each other."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

import cv2
import numpy as np
import numpy.typing as npt
from skimage.color import deltaE_ciede2000

from surrogate.collection.files import replace_if_changed
from surrogate.condition.colorimetry import lab, triple
from surrogate.condition.registration import laid_over, register
from surrogate.errors import WrongUse
from surrogate.collection.listing import read
from surrogate.imaging.density import Floats, to_density, to_srgb
from surrogate.imaging.read import MM_PER_INCH, read_reduced
from surrogate.records import Master, Record, Triple

#: Long edge (px) at which scans are compared: 150 ppi of a print of 9 in, fine enough for a stain of 2 mm.
_COMPARE_PX = 1400

#: How far two scanners' contrast (slope of density) differs after the base is matched, as a standard deviation: an
#: assumption from the tolerance of ISO 19264-1 level B (gain 0.7-1.2 per step, averaged over a scale), not measured.
SCANNER_SLOPE_SD = 0.02

#: Two-sided 5 % shared among three dyes (Bonferroni): 1 - 0.05 / 6 of the normal distribution.
_TEST = 2.394
_INTERVAL = 1.96

#: Densities wanted between the 2nd and 98th percentile, for a slope to mean anything.
_LEAST_RANGE = 0.25

#: A new mark is at least this different (CIEDE2000) and this wide (mm).
_MARK_DELTA_E, _MARK_MM = 2.5, 2.0

Verdict = Literal["unchanged", "changed", "cannot say"]


class ChangedRegion(Record):
    """A mark that the master does not have: x, y, width, height in mm from its top left; None without a resolution."""

    box_mm: tuple[float, float, float, float] | None
    delta_e: float


class CompareReport(Record):
    """What has changed; ``uncertainty`` is the half-width of the 95 % interval of ``density_loss``."""

    reference: str
    side: str
    verdict: Verdict
    density_loss: Triple | None
    uncertainty: Triple | None
    base_shift: Triple | None
    regions: list[ChangedRegion]
    scanner_correction: Literal["none", "base", "target"]
    picture: str | None
    note: str = ""


def compare(folder: Path, reference: str, scan: Path, *, side: str = "recto") -> CompareReport:
    """Compare a new scan with the master of one side. The scan is not kept; a picture is written under condition/.

    The scanners are brought together on the base (the lightest even tones). A dye has changed when its loss differs
    from none by 2.39 standard errors, which holds false alarms to 5 % if scanners differ as assumed here. Raises
    :class:`WrongUse` for an unknown original or side and :class:`ScanSetAside` for a damaged scan.
    """
    master = _master(folder, reference, side)
    old = read_reduced(folder / master.file, _COMPARE_PX)
    before = to_density(old.pixels)
    now = to_density(read_reduced(scan, 2 * _COMPARE_PX).pixels)
    transform = register(before, now)
    if transform is None:
        return _cannot(reference, side, "The new scan could not be laid over the master: is it the same original?")
    shrink = float(np.sqrt(abs(np.linalg.det(transform[:, :2]))))
    if shrink > 1.3:  # so that both are equally sharp before they are sampled on one grid
        now = np.asarray(cv2.GaussianBlur(now, (0, 0), 0.5 * shrink), np.float32)
    placed, covered = laid_over(now, transform, before.shape[:2])
    if covered.mean() < 0.3:
        return _cannot(reference, side, "The new scan shows less than a third of the master.")
    smooth = max(before.shape) / 350
    soft, soft_now = (np.asarray(cv2.GaussianBlur(d, (0, 0), smooth), np.float32) for d in (before, placed))
    base_shift, slope, error = _tones(soft, soft_now, covered)
    offset = base_shift.astype(np.float32)
    corrected = soft_now - offset
    px_per_mm = old.ppi / MM_PER_INCH if old.ppi else None
    regions, differences = _marks(soft, corrected, covered, slope, px_per_mm)
    picture = f"condition/changes/{Path(master.file).stem}.jpg"
    _draw(folder / picture, before, placed - offset, differences)
    common: dict[str, object] = {
        "reference": reference, "side": side, "base_shift": triple(base_shift), "regions": regions,
        "scanner_correction": "base", "picture": picture,
    }  # fmt: skip
    if slope is None or error is None:
        note = "The picture has too few tones for a loss of density to be measured."
        verdict: Verdict = "changed" if regions else "cannot say"
        return CompareReport.model_validate(
            common | {"verdict": verdict, "density_loss": None, "uncertainty": None, "note": note}
        )
    spread = np.hypot(error, SCANNER_SLOPE_SD)
    moved = bool((np.abs(1 - slope) > _TEST * spread).any())
    return CompareReport.model_validate(
        common
        | {
            "verdict": "changed" if moved or regions else "unchanged",
            "density_loss": triple(1 - slope),
            "uncertainty": triple(_INTERVAL * spread),
            "note": "Without a target in both scans, a loss below about 5 % cannot be told from the scanner.",
        }
    )


def _master(folder: Path, reference: str, side: str) -> Master:
    original = next((o for o in read(folder).originals if o.reference == reference), None)
    if original is None:
        raise WrongUse(f"No original is numbered {reference} in {folder}. Look its number up in manifest.csv.")
    master = next((m for m in original.masters if m.side.value == side), None)
    if master is None:
        raise WrongUse(f"{reference} has no scan of its {side}. Name the side that was scanned: recto or verso.")
    return master


def _cannot(reference: str, side: str, note: str) -> CompareReport:
    return CompareReport(
        reference=reference, side=side, verdict="cannot say", density_loss=None, uncertainty=None, base_shift=None,
        regions=[], scanner_correction="none", picture=None, note=note,
    )  # fmt: skip


def _tones(
    before: Floats, now: Floats, covered: npt.NDArray[np.bool_]
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64] | None, npt.NDArray[np.float64] | None]:
    """Shift of the base, slope of density now against before, and the slope's standard error; each (3,)."""
    old, new = before[covered].astype(np.float64), now[covered].astype(np.float64)
    light = old.mean(axis=1) <= np.percentile(old.mean(axis=1), 3)
    shift = np.median(new[light] - old[light], axis=0)
    low, high = np.percentile(old, [2, 98], axis=0)
    if ((high - low) < _LEAST_RANGE).any():
        return shift, None, None
    slopes, errors = np.empty(3), np.empty(3)
    for channel in range(3):
        steps = np.linspace(low[channel], high[channel], 13)
        at = np.digitize(old[:, channel], steps)
        middles = [(np.median(old[at == k, channel]), np.median(new[at == k, channel]))
                   for k in range(1, 13) if (at == k).sum() > 50]  # fmt: skip
        x, y = np.array(middles).T
        line, covariance = np.polyfit(x, y, 1, cov=True)
        slopes[channel], errors[channel] = line[0], np.sqrt(covariance[0, 0])
    return shift, slopes, errors


def _marks(
    before: Floats,
    now: Floats,
    covered: npt.NDArray[np.bool_],
    slope: npt.NDArray[np.float64] | None,
    px_per_mm: float | None,
) -> tuple[list[ChangedRegion], Floats]:
    """Marks that the change of tone as a whole does not explain, and the map of differences (CIEDE2000)."""
    expected = before if slope is None else before * slope.astype(np.float32)
    rest = now - expected
    rest -= np.median(rest[covered], axis=0)
    # slow drifts are light falling off, not marks
    drift = np.asarray(cv2.GaussianBlur(rest, (0, 0), max(before.shape) / 12), np.float32)
    differences = np.asarray(deltaE_ciede2000(lab(expected), lab(expected + rest - drift)), np.float32)
    differences[~covered] = 0
    noise = float(np.percentile(differences[covered], 90))
    wide = round(_MARK_MM * px_per_mm) if px_per_mm else max(before.shape) // 100
    marked = (differences > max(_MARK_DELTA_E, 2.5 * noise)).astype(np.uint8)
    marked = cv2.morphologyEx(marked, cv2.MORPH_OPEN, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (max(wide, 3),) * 2))
    count, labels, boxes, _ = cv2.connectedComponentsWithStats(marked)
    found = []
    for number in range(1, count):
        x, y, width, height = (float(v) for v in boxes[number][:4])
        box = None
        if px_per_mm:
            box = (round(x / px_per_mm, 1), round(y / px_per_mm, 1), round(width / px_per_mm, 1),
                   round(height / px_per_mm, 1))  # fmt: skip
        found.append(ChangedRegion(box_mm=box, delta_e=round(float(differences[labels == number].mean()), 1)))
    return sorted(found, key=lambda region: -region.delta_e)[:20], differences


def _draw(path: Path, before: Floats, now: Floats, differences: Floats) -> None:
    """Before, now and the difference side by side, with a scale from 0 to 10 under the last."""
    shade = np.clip(255 - differences * 25.5, 0, 255).astype(np.uint8)
    panels = [to_srgb(before, 8), to_srgb(now, 8), np.dstack([shade] * 3)]
    gap = np.full((before.shape[0], 16, 3), 255, np.uint8)
    row = np.hstack([panels[0], gap, panels[1], gap, panels[2]])
    foot = np.full((56, row.shape[1], 3), 255, np.uint8)
    starts = [0, before.shape[1] + 16, 2 * (before.shape[1] + 16)]
    for start, word in zip(starts, ("Before", "Now", "Difference"), strict=True):
        cv2.putText(foot, word, (start + 4, 22), cv2.FONT_HERSHEY_SIMPLEX, 0.6, (40, 40, 40), 1, cv2.LINE_AA)
    ramp = np.linspace(255, 0, 200).astype(np.uint8)
    foot[30:42, starts[2] + 40 : starts[2] + 240] = ramp[None, :, None]
    for start, word in ((20, "0"), (248, "10 CIEDE2000")):
        cv2.putText(foot, word, (starts[2] + start, 42), cv2.FONT_HERSHEY_SIMPLEX, 0.45, (40, 40, 40), 1, cv2.LINE_AA)
    ok, data = cv2.imencode(".jpg", np.vstack([row, foot])[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 88])
    if ok:
        replace_if_changed(path, data.tobytes())
