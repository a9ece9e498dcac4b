"""`target`: the published tolerances, the two editions of the card, and rendered scans with known errors."""

import csv
from datetime import date, datetime
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from PIL import Image, ImageCms
from skimage.color import deltaE_ciede2000

from surrogate.condition.chart_values import EDITIONS, iso_level, reference_values, stars
from surrogate.condition.target import keep, profile, target, wedge
from surrogate.condition.wedge import wedge_values
from surrogate.errors import ScanSetAside, WrongUse
from tests.simulate.colorimetry import lab_to_linear_srgb
from tests.simulate.target import PATCHES
from tests.simulate.target_scans import render, render_wedge
from tests.simulate.tone import encode_srgb

SAMPLES = Path(__file__).parents[1] / "sample_scans"


def test_editions_differ_as_published() -> None:
    # colour-science/colour, both tables of the card (read); differences by CIEDE2000: mean 0.848, largest 1.951
    apart = deltaE_ciede2000(np.array(EDITIONS["before-2014"]), np.array(EDITIONS["after-2014"]))
    assert apart.mean() == pytest.approx(0.848, abs=0.001)
    assert apart.max() == pytest.approx(1.951, abs=0.001)
    assert apart.argmax() == 18
    assert [lab for _, lab in PATCHES] == list(EDITIONS["after-2014"])


@pytest.mark.parametrize(
    ("name", "value", "level"),
    [  # FADGI, Technical Guidelines, Sept 2016, p. 33 (read)
        ("oecf_delta_l", 2.0, 4), ("oecf_delta_l", 2.01, 3), ("oecf_delta_l", 4.0, 3), ("oecf_delta_l", 8.01, 0),
        ("white_balance", 6.0, 2), ("delta_e_2000_mean", 1.99, 4), ("delta_e_2000_mean", 2.0, 3),
        ("delta_e_2000_mean", 5.9, 2), ("delta_e_2000_mean", 9.9, 1), ("noise_sd_l", 0.99, 4), ("noise_sd_l", 1.0, 3),
        ("noise_sd_l", 3.99, 1), ("non_uniformity_percent", 2.9, 3),
    ],
)  # fmt: skip
def test_stars_of_one_figure(name: str, value: float, level: int) -> None:
    assert stars({name: value}) == level


def test_worst_figure_decides() -> None:
    assert stars({"oecf_delta_l": 1.0, "noise_sd_l": 2.5}) == 2
    # ISO 19264-1:2021 levels as a published comparison gives them (second-hand)
    assert iso_level({"oecf_delta_l": 2.0, "white_balance": 3.0, "noise_sd_l": 1.6}) == "A"
    assert iso_level({"oecf_delta_l": 2.0, "delta_e_2000_max": 15.0}) == "B"
    assert iso_level({"white_balance": 5.5}) == "none"


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_rendered_scan(tmp_path: Path, seed: int) -> None:
    made = render(tmp_path / "scan.tif", np.random.default_rng(seed))
    report = target(tmp_path / "scan.tif")
    truth = np.array(EDITIONS["after-2014"])
    assert report.figures["delta_e_2000_mean"] == pytest.approx(deltaE_ciede2000(made.lab, truth).mean(), abs=0.1)
    assert report.figures["oecf_delta_l"] == pytest.approx(np.abs(made.lab - truth)[18:, 0].max(), abs=0.2)
    assert report.figures["white_balance"] == pytest.approx(np.hypot(*(made.lab - truth)[18:, 1:].T).max(), abs=0.2)
    assert len(report.patches) == 24


def test_something_square_beside_the_card_does_not_hide_it(tmp_path: Path) -> None:
    # the simulation's seed 20054 lays a rectangle of a patch's size where a seventh column would begin
    render(tmp_path / "scan.tif", np.random.default_rng(20054), error=0.3)
    assert len(target(tmp_path / "scan.tif").patches) == 24


def test_clipped_white_tells_nothing_of_noise(tmp_path: Path) -> None:
    # seed 1007 scans white at L* 98.7, so that half of its noise is cut off; FADGI 2016 parts two stars at L* 2
    made = render(tmp_path / "scan.tif", np.random.default_rng(1007))
    assert made.noise_sd_l == pytest.approx(2.036, abs=0.001)
    report = target(tmp_path / "scan.tif")
    assert report.figures["noise_sd_l"] == pytest.approx(made.noise_sd_l, rel=0.02)
    assert report.levels.fadgi_2016 == 2


def test_same_name_scanned_again_is_read_again(tmp_path: Path) -> None:
    render(tmp_path / "scan.tif", np.random.default_rng(4), error=0.0, noise=0.5)
    first = target(tmp_path / "scan.tif").figures
    render(tmp_path / "scan.tif", np.random.default_rng(4), error=3.0, noise=0.5)
    assert target(tmp_path / "scan.tif").figures["delta_e_2000_mean"] > first["delta_e_2000_mean"] + 1


def test_sample_target_and_own_values(tmp_path: Path) -> None:
    report = target(SAMPLES / "target.jpg")
    assert report.levels.fadgi_2016 >= 2
    assert any("profile" in line for line in report.advice)
    assert any("misregistration" in line for line in report.not_measurable)
    own = tmp_path / "card.csv"
    own.write_text("name,L,a,b\n" + "".join(f"{p.name},{p.lab[0]},{p.lab[1]},{p.lab[2]}\n" for p in report.patches))
    assert target(SAMPLES / "target.jpg", reference=own).figures["delta_e_2000_mean"] < 0.05


def test_what_is_no_target_is_said() -> None:
    with pytest.raises(ScanSetAside, match="No 24-patch"):
        target(SAMPLES / "market stall 1974_r.jpg")
    with pytest.raises(WrongUse, match="before-2014"):
        reference_values("1976", None)


def test_reference_file_must_hold_24_rows(tmp_path: Path) -> None:
    (tmp_path / "card.csv").write_text("name,L,a,b\nwhite,96,0,1\n")
    with pytest.raises(WrongUse, match="24 patches"):
        reference_values("after-2014", tmp_path / "card.csv")


def test_profile_is_read_by_littlecms_and_mends_the_colours(tmp_path: Path) -> None:
    # LittleCMS through Pillow is the judge: class, name, and the patches it turns into CIELAB
    made = render(tmp_path / "scan.tif", np.random.default_rng(11), error=2.0, noise=0.5)
    before = target(tmp_path / "scan.tif").figures["delta_e_2000_mean"]
    content, left = profile(tmp_path / "scan.tif", datetime(2026, 11, 25, 12, 0, 0))  # noqa: DTZ001
    (tmp_path / "scanner.icc").write_bytes(content)
    read = ImageCms.getOpenProfile(str(tmp_path / "scanner.icc"))
    assert read.profile.device_class == "scnr"
    assert ImageCms.getProfileDescription(read).strip() == "Scanner profile 2026-11-25"
    codes = np.rint(encode_srgb(np.clip(lab_to_linear_srgb(made.lab), 0, 1)) * 255).astype(np.uint8)
    intent = ImageCms.Intent.RELATIVE_COLORIMETRIC
    to_lab = ImageCms.buildTransform(read, ImageCms.createProfile("LAB"), "RGB", "LAB", intent)
    seen = np.asarray(ImageCms.applyTransform(Image.fromarray(codes[None]), to_lab))[0].astype(np.float64)
    lab = np.c_[seen[:, 0] / 2.55, (seen[:, 1:] + 128) % 256 - 128]
    after = deltaE_ciede2000(lab, np.array(EDITIONS["after-2014"])).mean()
    assert after == pytest.approx(left, abs=0.6)  # 8-bit codes and 8-bit CIELAB
    assert after < before
    assert len(content) == int.from_bytes(content[:4], "big")
    assert content[36:40] == b"acsp"


def test_results_are_kept_and_drift_is_said(tmp_path: Path) -> None:
    kept = tmp_path / "kept"
    for seed, error, day in ((4, 0.0, date(2026, 1, 5)), (5, 3.0, date(2026, 6, 5))):
        scan = tmp_path / f"{seed}.tif"
        render(scan, np.random.default_rng(seed), error=error, noise=0.5)
        report = target(scan)
        said = keep(report, scan, kept, day)
        assert keep(report, scan, kept, day) == said
    rows = list(csv.DictReader((kept / "targets.csv").read_text().splitlines()))
    assert [row["date"] for row in rows] == ["2026-01-05", "2026-06-05"]
    assert any("Colour" in line for line in said)
    drawn = ET.parse(kept / "targets.svg").getroot()
    assert len(drawn.findall(".//{http://www.w3.org/2000/svg}circle")) == 8
    (kept / "targets.csv").write_text("date\nsoon\n")
    with pytest.raises(WrongUse, match="Move it away"):
        keep(report, scan, kept, date(2026, 7, 1))


@pytest.mark.parametrize(("degrees", "lift"), [(0.0, 0.0), (160.0, 3.0)])
def test_grey_wedge_is_found_and_judged(tmp_path: Path, degrees: float, lift: float) -> None:
    render_wedge(tmp_path / "wedge.tif", degrees, lift)
    report = target(tmp_path / "wedge.tif")
    assert report.chart == "20-step grey wedge"
    assert report.figures["oecf_delta_l"] == pytest.approx(lift, abs=0.3)
    assert report.figures["noise_sd_l"] == pytest.approx(0.5, abs=0.1)
    # table of the scale: step 8 (0.75) is L* 49.23, step 20 (1.95) 9.97 (CIE formula)
    assert report.patches[7].reference_lab[0] == pytest.approx(49.23, abs=0.02)
    assert report.patches[19].reference_lab[0] == pytest.approx(9.97, abs=0.02)
    assert any("grey" in line for line in report.not_measurable)


def test_wedge_values_are_checked(tmp_path: Path) -> None:
    own = tmp_path / "own.csv"
    own.write_text("name,D\n" + "".join(f"{n},{0.1 * n:.2f}\n" for n in range(1, 16)))
    assert len(wedge_values(own)) == 15
    own.write_text("name,D\n1,0.5\n2,0.4\n")
    with pytest.raises(WrongUse, match="lightest first"):
        wedge_values(own)
    with pytest.raises(ScanSetAside, match="No grey wedge"):
        wedge(SAMPLES / "target.jpg")
