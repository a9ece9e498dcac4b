"""`compare`: registration against known transforms; loss and stains of simulated second scans; the verdict's test."""

from datetime import date
from pathlib import Path

import cv2
import numpy as np
import pytest
import tifffile
from scipy.stats import multivariate_normal

from surrogate.collection.changes import kept
from surrogate.collection.files import sha256_of
from surrogate.condition.change import compare, judge, lay_over
from surrogate.condition.change_scanner import correction
from surrogate.condition.change_verdict import FALSE_ALARMS, critical, strongest
from surrogate.condition.registration import register
from surrogate.errors import WrongUse
from surrogate.handover.manifest import write
from surrogate.imaging.density import to_density
from surrogate.imaging.read import read_reduced
from surrogate.records import CollectionInfo, Kind, Master, Original, Side, Software
from tests.simulate import second_scan as made
from tests.simulate.target import card

SAMPLES = Path(__file__).parents[1] / "sample_scans"
LONG_MM = 60.0


@pytest.fixture(scope="module")
def photo() -> np.ndarray:
    return np.asarray(read_reduced(SAMPLES / "market stall 1974_r.jpg", 500).pixels, np.uint8)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory, photo: np.ndarray) -> Path:
    """A collection of one print, the target on its scanner, and what `sheet` made the print of."""
    place = tmp_path_factory.mktemp("collection")
    (place / "masters").mkdir()
    generator = np.random.default_rng(0)
    now = made.sheet(photo, made.printed(photo, generator), LONG_MM, border_mm=3.0, kept=(1.0,) * 3)
    made.first_scan(now, place / "masters/a_r.tif", generator)
    made.scan_of_card(place / "card then.tif", generator, None)
    height, width = now.shape[:2]
    master = Master(side=Side.RECTO, file="masters/a_r.tif", sha256="0" * 64, bytes=1, width=width, height=height,
                    bits=8, ppi=600.0, profile=None, scanned_as="a.tif")  # fmt: skip
    original = Original(reference="1", kind=Kind.COLOUR_PRINT, kind_confidence=1.0, masters=[master])
    write(place, CollectionInfo(name="c", credit="", rights=""), Software(name="s", version="1"), [original], [])
    return place


def _scan(photo: np.ndarray, folder: Path, seed: int, kept: float = 1.0, stained: bool = False, **how: int) -> object:
    """A later scan and its target in ``folder``. Returns the stain's middle in mm, or the transform."""
    original = made.printed(photo, np.random.default_rng(0))
    generator = np.random.default_rng(seed)
    sheet = made.sheet(photo, original, LONG_MM, border_mm=3.0, kept=(kept,) * 3)
    middle = None
    if stained:
        sheet, middle = made.stain(sheet, generator, 5.0, 4.0)
    scanner = made.draw_scanner(generator)
    made.scan_of_card(folder / "card now.tif", generator, scanner)
    transform = made.second_scan(sheet, folder / "now.tif", generator, scanner, **how)
    return middle if stained else transform


@pytest.mark.parametrize("turn", [0, 1])
def test_registration_finds_a_known_transform(folder: Path, photo: np.ndarray, turn: int) -> None:
    truth = np.asarray(_scan(photo, folder, 3, turn=turn))
    fixed, moving = (to_density(read_reduced(folder / f, 4000).pixels) for f in ("masters/a_r.tif", "now.tif"))
    found = register(fixed, moving)
    assert found is not None
    corners = np.array([[[100.0, 100.0]], [[1300.0, 100.0]], [[1300.0, 800.0]], [[100.0, 800.0]]])
    apart = np.linalg.norm(cv2.transform(corners, found) - cv2.transform(corners, truth), axis=2)
    assert apart.max() < 0.3 * 0.5  # 0.3 px of the master at half its resolution


def test_unchanged(folder: Path, photo: np.ndarray) -> None:
    _scan(photo, folder, 1)
    report = compare(folder, "1", folder / "now.tif")
    assert (report.verdict, report.regions, report.scanner_correction) == ("unchanged", [], "base")
    assert report.picture is not None
    assert (folder / report.picture).is_file()
    with_target = compare(folder, "1", folder / "now.tif", targets=(folder / "card then.tif", folder / "card now.tif"))
    assert (with_target.verdict, with_target.scanner_correction) == ("unchanged", "target")
    assert with_target.uncertainty is not None
    assert report.uncertainty is not None
    assert max(with_target.uncertainty) < 0.6 * min(report.uncertainty)


def test_five_per_cent_lost_is_told_with_a_target(folder: Path, photo: np.ndarray) -> None:
    _scan(photo, folder, 2, kept=0.95)
    report = compare(folder, "1", folder / "now.tif", targets=(folder / "card then.tif", folder / "card now.tif"))
    assert report.verdict == "changed"
    assert report.density_loss is not None
    assert report.density_loss == pytest.approx((0.05, 0.05, 0.05), abs=0.03)  # three standard deviations


def test_new_stain_is_outlined(folder: Path, photo: np.ndarray) -> None:
    middle = _scan(photo, folder, 5, stained=True)
    report = compare(folder, "1", folder / "now.tif")
    assert report.verdict == "changed"
    box = report.regions[0].box_mm
    assert box is not None
    assert np.array([box[0] + box[2] / 2, box[1] + box[3] / 2]) == pytest.approx(np.array(middle), abs=1.0)
    assert report.regions[0].delta_e == pytest.approx(4, abs=1.5)


def test_another_lid_is_no_change(folder: Path, photo: np.ndarray, tmp_path: Path) -> None:
    _scan(photo, folder, 8)
    picture = tifffile.imread(folder / "masters/a_r.tif")
    wide = cv2.copyMakeBorder(picture, 90, 90, 90, 90, cv2.BORDER_CONSTANT, value=(20, 20, 20))
    tifffile.imwrite(tmp_path / "wide.tif", wide, photometric="rgb", resolution=(600, 600), resolutionunit="INCH")
    laid = lay_over(tmp_path / "wide.tif", folder / "now.tif")
    assert not isinstance(laid, str)
    judged, _ = judge(laid, Kind.COLOUR_PRINT, None)
    assert judged.surround
    assert judged.marks == []


def test_a_record_is_kept_on_request(folder: Path, photo: np.ndarray) -> None:
    _scan(photo, folder, 7)
    report = compare(folder, "1", folder / "now.tif", record=date(2026, 11, 25))
    (record,) = kept(folder)
    assert record.report == report
    assert (record.date, record.scan, record.scan_sha256) == (
        date(2026, 11, 25),
        "now.tif",
        sha256_of(folder / "now.tif"),
    )
    assert record.condition.fade.density_loss is not None
    compare(folder, "1", folder / "now.tif", record=date(2026, 11, 25))
    assert len(kept(folder)) == 1


def test_another_picture_cannot_be_judged(folder: Path) -> None:
    report = compare(folder, "1", SAMPLES / "scan0003.jpg")
    assert report.verdict == "cannot say"
    assert report.note


def test_wrong_use(folder: Path) -> None:
    scan = SAMPLES / "scan0003.jpg"
    with pytest.raises(WrongUse, match="No original"):
        compare(folder, "7", scan)
    with pytest.raises(WrongUse, match="verso"):
        compare(folder, "1", scan, side="verso")
    with pytest.raises(WrongUse, match="No 24-patch"):
        compare(folder, "1", scan, targets=(scan, scan))


def test_the_stated_rate_of_false_alarms() -> None:
    # four scores of normal errors, drawn here by scipy
    covariance = np.array([[5.0, 3.0, 2.0], [3.0, 6.0, 3.0], [2.0, 3.0, 4.0]]) * 1e-4
    limit = critical(covariance)
    draws = multivariate_normal(np.zeros(3), covariance, seed=5).rvs(4000)
    alarms = np.mean([strongest(draw, covariance)[0] > limit for draw in draws])
    assert alarms == pytest.approx(FALSE_ALARMS, abs=0.01)  # four standard errors
    assert critical(np.full((3, 3), 1e-4)) == pytest.approx(1.96, abs=0.03)  # one number three times: 97.5 % one-sided


def test_a_known_scanner_is_undone_on_its_target() -> None:
    linear = np.clip(card(1, 0).reshape(-1, 3), 10**-2.0, 1.0)
    then = -np.log10(linear)
    scanner = made.draw_scanner(np.random.default_rng(4))
    now = -np.log10(scanner.sees(linear, dyes=False)).astype(np.float64)
    told = correction(then, now)
    assert told is not None
    grey = np.linspace(0.1, 1.5, 15)[:, None] * np.ones(3)
    seen = -np.log10(scanner.sees(10.0**-grey, dyes=False)).astype(np.float64)
    assert np.abs(told(seen) - grey).max() < 0.02
    assert correction(then[:8], now[:8]) is None


def test_written_tiff_is_read_at_both_depths(folder: Path, photo: np.ndarray) -> None:
    _scan(photo, folder, 6, bits=8)
    assert tifffile.imread(folder / "now.tif").dtype == np.uint8
    assert compare(folder, "1", folder / "now.tif").verdict == "unchanged"
