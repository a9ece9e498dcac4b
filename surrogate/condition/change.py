"""Has an original changed since its master was scanned? The old scan and a new one, laid over each other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt

from surrogate.collection.changes import FOLDER, ChangedRegion, CompareReport, Evidence, Verdict, keep, stem_of
from surrogate.collection.listing import read
from surrogate.condition.change_marks import Mark, find_marks
from surrogate.condition.change_picture import draw
from surrogate.condition.change_scanner import Correction, base_shift, correction, patch_densities, read_target
from surrogate.condition.change_surround import without_surround
from surrogate.condition.change_tones import Tones, measure_tones
from surrogate.condition.change_verdict import INTERVAL, critical, spread, strongest
from surrogate.condition.colorimetry import triple
from surrogate.condition.measure import measure, proxy
from surrogate.condition.registration import laid_over, register
from surrogate.errors import WrongUse
from surrogate.imaging.density import Floats, to_density
from surrogate.imaging.read import MM_PER_INCH, read_reduced
from surrogate.records import Condition, Kind, Master, Original, Side

Array = npt.NDArray[np.float64]

#: Long edge (px) at which scans are compared: 150 ppi of a print of 9 in, fine enough for a stain of 2 mm.
COMPARE_PX = 1400

#: A base darker by this density, with a target to tell it from the scanner, is a change (measured on unchanged pairs:
#: ninety-nine in a hundred stay below).
_BASE_CHANGED = 0.03

#: R, G, B density (rows) of unit amounts of cyan, magenta and yellow dye: the one matrix that fits prints of all kinds
#: best, as measured when colour fading was first fitted on random dyes and scanners (docs/fade-model.md). A comparison
#: needs no better one: both scans are unmixed by the same.
DYES = np.array(((0.899, 0.087, 0.013), (0.152, 0.752, 0.096), (0.110, 0.147, 0.743)))

#: What a report says of its evidence where that is not the base.
_SAID: dict[Evidence, str] = {
    "none": "",
    "target": "",
    "session": "Told by the other originals of the session: what all of them have lost alike does not show.",
}

_SHARED = "All originals of this session are paler alike: the scanner, or all of them. Scan a colour target as well."

#: Most marks listed.
_MOST_MARKS = 20


@dataclass(frozen=True)
class Laid:
    """The master's densities and the new scan's in its frame (H, W, 3), where both are, and pixels per mm."""

    before: Floats
    now: Floats
    covered: npt.NDArray[np.bool_]
    px_per_mm: float | None
    target: Correction | None


@dataclass(frozen=True)
class Judged:
    """What the comparison measured, before it is put into words.

    ``shared``: the originals of its session have lost density alike, more than scanners are assumed to differ.
    """

    tones: Tones | None
    base: Array
    on_border: bool
    marks: list[Mark]
    evidence: Evidence
    surround: bool
    shared: bool = False


@dataclass(frozen=True)
class Pictures:
    """The new scan's densities (H, W, 3) by the old scanner, and the map of differences (H, W; CIEDE2000)."""

    now: Floats
    differences: Floats


@dataclass(frozen=True)
class Looked:
    """One original, looked at: what was measured, where its picture lies, and its condition where that is wanted."""

    reference: str
    side: str
    kind: Kind
    master: Master
    scan: Path
    judged: Judged
    px_per_mm: float | None
    picture: str
    condition: Condition | None


def compare(
    folder: Path,
    reference: str,
    scan: Path,
    *,
    side: str = "recto",
    targets: tuple[Path, Path] | None = None,
    record: date | None = None,
) -> CompareReport:
    """Compare a new scan with the master of one side. The scan is not kept; a picture is written under condition/.

    The scanners are brought together on a colour target, which lies in both scans or in the two scans ``targets``
    (beside the master, beside the new scan), else on the base. With ``record`` a condition record of that day is kept.
    Raises :class:`WrongUse` for an unknown original, side or target and :class:`ScanSetAside` for a damaged scan.
    """
    kind, master = master_of(read(folder).originals, folder, reference, side)
    told = None if targets is None else between(*targets)
    looked = look(folder, reference, side, kind, master, scan, told, condition=record is not None)
    return looked if isinstance(looked, CompareReport) else tell(folder, looked, record)


def look(
    folder: Path,
    reference: str,
    side: str,
    kind: Kind,
    master: Master,
    scan: Path,
    target: Correction | None,
    *,
    condition: bool,
) -> Looked | CompareReport:
    """Measure one scan against its master and draw the picture; the report at once where nothing can be said.

    Without ``target`` one is looked for in both scans; ``condition``: the condition is measured too.
    """
    laid = lay_over(folder / master.file, scan, page=master.page, look_for_target=target is None)
    if isinstance(laid, str):
        return _cannot(reference, side, laid)
    judged, pictures = judge(laid, kind, target or laid.target)
    picture = f"{FOLDER}/{stem_of(master)}.jpg"
    shown = pictures.now - judged.base.astype(np.float32)
    draw(folder / picture, laid.before, shown, pictures.differences, judged.marks)
    found = _condition(pictures.now, kind, side, laid.px_per_mm) if condition else None
    return Looked(reference, side, kind, master, scan, judged, laid.px_per_mm, picture, found)


def tell(folder: Path, looked: Looked, record: date | None) -> CompareReport:
    """What was measured as a report; with ``record`` and a condition it is kept under that day."""
    report = _report(looked.reference, looked.side, looked.judged, looked.px_per_mm, looked.picture)
    if record is None or looked.condition is None:
        return report
    return keep(folder, record, report, looked.condition, master=looked.master, scan=looked.scan)


def _condition(now: Floats, kind: Kind, side: str, px_per_mm: float | None) -> Condition:
    small = proxy(now)
    ppi = None if px_per_mm is None else px_per_mm * MM_PER_INCH * max(small.shape) / max(now.shape)
    return measure(small, kind=kind, side=Side(side), ppi=ppi).condition


def between(then: Path, now: Path) -> Correction:
    """The correction by two scans of a target. Raises :class:`WrongUse` without one or with too few usable patches."""
    found = correction(read_target(then), read_target(now))
    if found is None:
        raise WrongUse(f"Too few patches of the targets in {then} and {now} are neither black nor clipped.")
    return found


def lay_over(master: Path, scan: Path, *, page: int = 0, look_for_target: bool = True) -> Laid | str:
    """Both scans in the frame of the master's page, or why they cannot be laid over each other."""
    old = read_reduced(master, COMPARE_PX, page)
    new = read_reduced(scan, 2 * COMPARE_PX)
    before, now = to_density(old.pixels), to_density(new.pixels)
    transform = register(before, now)
    if transform is None:
        return "The new scan could not be laid over the master: is it the same original?"
    target = None
    if look_for_target and (then := patch_densities(old.pixels)) is not None:
        found = patch_densities(new.pixels)
        target = None if found is None else correction(then, found)
    shrink = float(np.sqrt(abs(np.linalg.det(transform[:, :2]))))
    if shrink > 1.3:  # so that both are equally sharp before they are sampled on one grid
        now = np.asarray(cv2.GaussianBlur(now, (0, 0), 0.5 * shrink), np.float32)
    placed, covered = laid_over(now, transform, before.shape[:2])
    if covered.mean() < 0.3:
        return "The new scan shows less than a third of the master."
    return Laid(before, placed, covered, old.ppi / MM_PER_INCH if old.ppi else None, target)


def judge(laid: Laid, kind: Kind, target: Correction | None) -> tuple[Judged, Pictures]:
    """Measure what has changed; ``target`` takes the new scanner's densities to the old one's."""
    now = laid.now if target is None else np.asarray(target(laid.now), np.float32)
    covered, surround = without_surround(laid.before, now, laid.covered)
    silver = kind is not Kind.COLOUR_PRINT
    tones = measure_tones(laid.before, now, covered, np.eye(3) if silver else DYES)
    if silver and tones is not None:  # one image substance: the mean of the channels, three times
        tones = Tones(np.full(3, tones.loss.mean()), np.full((3, 3), tones.covariance.mean()))
    base, on_border = base_shift(laid.before, now, covered)
    marks, differences = find_marks(laid.before, now, covered, laid.px_per_mm)
    judged = Judged(tones, base, on_border, marks, "base" if target is None else "target", surround)
    return judged, Pictures(now, differences)


def master_of(originals: Sequence[Original], folder: Path, reference: str, side: str) -> tuple[Kind, Master]:
    """Kind of an original of the collection in ``folder`` and its master of one side. Raises :class:`WrongUse`."""
    original = next((o for o in originals if o.reference == reference), None)
    front = next((o.reference for o in originals if reference in o.earlier_numbers), None)
    if front is not None:
        raise WrongUse(f"{reference} is the back of {front} now: give the number {front} and --side verso.")
    if original is None:
        raise WrongUse(f"No original is numbered {reference} in {folder}. Look its number up in manifest.csv.")
    master = next((m for m in original.masters if m.side.value == side), None)
    if master is None:
        raise WrongUse(f"{reference} has no scan of its {side}. Name the side that was scanned: recto or verso.")
    return original.kind, master


def _cannot(reference: str, side: str, note: str) -> CompareReport:
    return CompareReport(
        reference=reference, side=side, verdict="cannot say", density_loss=None, uncertainty=None, base_shift=None,
        regions=[], scanner_correction="none", picture=None, note=note,
    )  # fmt: skip


def verdict_of(judged: Judged) -> tuple[Verdict, str]:
    """The verdict by the test of :mod:`surrogate.condition.change_verdict`, and why, in words."""
    if judged.marks:
        count = len(judged.marks)
        return "changed", f"{count} new {'mark' if count == 1 else 'marks'}."
    if judged.evidence != "base" and bool((judged.base > _BASE_CHANGED).any()):
        return "changed", "The base has darkened."
    if judged.tones is None:
        return "cannot say", "The picture has too few tones for a loss of density to be measured."
    covariance = spread(judged.tones.covariance, judged.evidence)
    limit, (most, least) = critical(covariance), strongest(judged.tones.loss, covariance)
    if most > limit:
        return "changed", "Density has been lost."
    if least < -limit:
        return "cannot say", "The new scan is denser than the master, and dyes do not come back: the scanners differ."
    return ("cannot say", _SHARED) if judged.shared else ("unchanged", "")


def _report(reference: str, side: str, judged: Judged, px_per_mm: float | None, picture: str | None) -> CompareReport:
    verdict, why = verdict_of(judged)
    tones = judged.tones
    loss = uncertainty = None
    if tones is not None:
        loss = triple(tones.loss)
        uncertainty = triple(INTERVAL * np.sqrt(np.diag(spread(tones.covariance, judged.evidence))))
    around = "Another background lies around the original; its edge was left out." if judged.surround else ""
    evidence = _SAID[judged.evidence] if judged.evidence != "base" else _without_target(judged)
    return CompareReport(
        reference=reference,
        side=side,
        verdict=verdict,
        density_loss=loss,
        uncertainty=uncertainty,
        base_shift=triple(judged.base),
        regions=[_region(mark, px_per_mm) for mark in judged.marks[:_MOST_MARKS]],
        scanner_correction=judged.evidence,
        picture=picture,
        note=" ".join(part for part in (why, around, evidence) if part),
    )


def _without_target(judged: Judged) -> str:
    said = "" if judged.on_border else "No white border was found: the lightest tones stand for the base. "
    return (
        f"{said}Without a colour target in both scans, or other originals scanned with it, a loss below about 7 % "
        "cannot be told from the scanner."
    )


def _region(mark: Mark, px_per_mm: float | None) -> ChangedRegion:
    box = None
    if px_per_mm:
        x, y, wide, high = (round(value / px_per_mm, 1) for value in mark.box_px)
        box = (x, y, wide, high)
    return ChangedRegion(box_mm=box, delta_e=round(mark.delta_e, 1))
