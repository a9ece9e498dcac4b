"""`compare`: registration against known transforms; loss and stains of simulated second scans."""

from pathlib import Path

import cv2
import numpy as np
import pytest
import tifffile

from surrogate.condition.change import compare
from surrogate.condition.registration import register
from surrogate.errors import WrongUse
from surrogate.handover.manifest import write
from surrogate.imaging.density import to_density
from surrogate.imaging.read import read_reduced
from surrogate.records import CollectionInfo, Kind, Master, Original, Side, Software
from tests.simulate.second_scan import second_scan

SAMPLE = Path(__file__).parents[1] / "sample_scans" / "market stall 1974_r.jpg"


@pytest.fixture(scope="module")
def picture() -> np.ndarray:
    return read_reduced(SAMPLE, 700).pixels


@pytest.fixture
def folder(tmp_path: Path, picture: np.ndarray) -> Path:
    (tmp_path / "masters").mkdir()
    tifffile.imwrite(tmp_path / "masters/a_r.tif", picture, photometric="rgb", resolution=(150, 150))
    height, width = picture.shape[:2]
    master = Master(side=Side.RECTO, file="masters/a_r.tif", sha256="0" * 64, bytes=1, width=width, height=height,
                    bits=8, ppi=150.0, profile=None, scanned_as="a.tif")  # fmt: skip
    original = Original(reference="1", kind=Kind.COLOUR_PRINT, kind_confidence=1.0, masters=[master])
    write(tmp_path, CollectionInfo(name="c", credit="", rights=""), Software(name="s", version="1"), [original], [])
    return tmp_path


@pytest.mark.parametrize("turn", [0, 1])
def test_registration_finds_a_known_transform(tmp_path: Path, picture: np.ndarray, turn: int) -> None:
    truth = second_scan(picture, tmp_path / "now.tif", np.random.default_rng(3), turn=turn)
    found = register(to_density(picture), to_density(read_reduced(tmp_path / "now.tif", 4000).pixels))
    assert found is not None
    corners = np.array([[[100.0, 100.0]], [[600.0, 100.0]], [[600.0, 400.0]], [[100.0, 400.0]]])
    apart = np.linalg.norm(cv2.transform(corners, found) - cv2.transform(corners, truth), axis=2)
    assert apart.max() < 0.3 * 0.8  # 0.3 px of the master at the new scan's 0.8 scale


def test_unchanged(folder: Path, picture: np.ndarray) -> None:
    second_scan(picture, folder / "now.tif", np.random.default_rng(1))
    report = compare(folder, "1", folder / "now.tif")
    assert report.verdict == "unchanged"
    assert report.picture is not None
    assert (folder / report.picture).is_file()


def test_ten_per_cent_lost(folder: Path, picture: np.ndarray) -> None:
    second_scan(picture, folder / "now.tif", np.random.default_rng(2), loss=0.1)
    report = compare(folder, "1", folder / "now.tif")
    assert report.verdict == "changed"
    assert report.density_loss is not None
    # three standard deviations of the simulated scanners' contrast (1.5 % of what is left) and of the fit
    assert report.density_loss == pytest.approx((0.1, 0.1, 0.1), abs=0.06)


def test_new_stain_is_outlined(folder: Path, picture: np.ndarray) -> None:
    second_scan(picture, folder / "now.tif", np.random.default_rng(5), stain_px=40)
    report = compare(folder, "1", folder / "now.tif")
    assert report.verdict == "changed"
    box = report.regions[0].box_mm
    assert box is not None
    middle = np.array([box[0] + box[2] / 2, box[1] + box[3] / 2]) * 150 / 25.4
    assert np.abs(middle - np.array(picture.shape[1::-1]) / 2).max() < 12


def test_another_picture_cannot_be_judged(folder: Path) -> None:
    report = compare(folder, "1", SAMPLE.parent / "scan0003.jpg")
    assert report.verdict == "cannot say"
    assert report.note


def test_unknown_reference_or_side(folder: Path) -> None:
    with pytest.raises(WrongUse, match="No original"):
        compare(folder, "7", SAMPLE)
    with pytest.raises(WrongUse, match="verso"):
        compare(folder, "1", SAMPLE, side="verso")
