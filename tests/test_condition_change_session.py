"""`compare --session`: what the scanner does to all originals is told by the others; who has changed stands out."""

from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from surrogate.cli import main
from surrogate.collection.changes import kept
from surrogate.comparing import SessionReport, compare_session
from surrogate.condition.change import Judged, verdict_of
from surrogate.condition.change_session import FEWEST_OTHERS, against_others
from surrogate.condition.change_tones import Tones
from surrogate.errors import WrongUse
from surrogate.handover.manifest import write
from surrogate.imaging.read import read_reduced
from surrogate.records import CollectionInfo, Kind, Master, Original, Side, Software
from tests.simulate import second_scan as made

SAMPLES = Path(__file__).parents[1] / "sample_scans"
FEW = FEWEST_OTHERS + 1
FADED = 3


def _judged(loss: tuple[float, float, float], base: float = 0.0) -> Judged:
    tones = Tones(np.array(loss), np.eye(3) * 0.003**2)
    return Judged(tones, np.full(3, base), True, [], "base", False)


def test_the_median_of_the_others_is_the_scanner() -> None:
    # worked by hand: five originals at 3, 4, 5, 6, 7 % and one at 10 %: its others' median is 5 %, so 5 % is its own
    lost = (0.03, 0.04, 0.05, 0.06, 0.07, 0.10)
    told = against_others([_judged((one,) * 3, base=0.02) for one in lost])
    assert told[5].tones is not None
    assert told[5].tones.loss == pytest.approx(0.05)
    assert told[5].base == pytest.approx(0.0)
    # of the others of the first (4, 5, 6, 7, 10) it is 6 %
    assert told[0].tones is not None
    assert told[0].tones.loss == pytest.approx(-0.03)
    assert {one.evidence for one in told} == {"session"}


def test_five_others_are_needed() -> None:
    few = [_judged((0.0, 0.0, 0.0))] * FEWEST_OTHERS
    assert against_others(few) == few
    # one without tones is no other, and stays as it was
    blank = replace(few[0], tones=None)
    told = against_others([*few, few[0], blank])
    assert [one.evidence for one in told] == ["session"] * FEW + ["base"]


def test_what_all_lost_alike_is_not_called_unchanged() -> None:
    alike = against_others([_judged((0.15, 0.15, 0.15)) for _ in range(FEW)])
    assert {verdict_of(one)[0] for one in alike} == {"cannot say"}
    still = against_others([_judged((0.01, 0.01, 0.01)) for _ in range(FEW)])
    assert {verdict_of(one)[0] for one in still} == {"unchanged"}


def test_a_base_darker_than_the_others_is_a_change() -> None:
    told = against_others([_judged((0.0,) * 3, base=0.05 * (number == 2)) for number in range(FEW)])
    assert [verdict_of(one)[0] for one in told].count("changed") == 1
    assert verdict_of(told[2]) == ("changed", "The base has darkened.")


@pytest.fixture(scope="module")
def session(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """Six small prints, scanned again by a scanner of 3 % less contrast; one of them has lost 8 % of every dye."""
    folder, scans = tmp_path_factory.mktemp("collection"), tmp_path_factory.mktemp("scans")
    (folder / "masters").mkdir()
    photo = np.asarray(read_reduced(SAMPLES / "market stall 1974_r.jpg", 480).pixels, np.uint8)
    high, wide = photo.shape[0] // 2, photo.shape[1] // 3
    scanner = replace(made.draw_scanner(np.random.default_rng(1)), slope=np.full(3, 0.97))
    originals, print_of = [], made.printed(photo, np.random.default_rng(0))
    for number in range(FEW):
        top, left = number // 3 * high, number % 3 * wide
        part = photo[top : top + high, left : left + wide]
        generator = np.random.default_rng(number)
        then, now = (
            made.sheet(part, print_of, 22.0, border_mm=0.0, kept=(share,) * 3, seed=number)
            for share in (1.0, 0.92 if number == FADED else 1.0)
        )
        made.first_scan(then, folder / f"masters/{number}_r.tif", generator)
        made.second_scan(now, scans / f"2026-001-000{number}_R.tif", generator, scanner)
        master = Master(side=Side.RECTO, file=f"masters/{number}_r.tif", sha256="0" * 64, bytes=1, width=then.shape[1],
                        height=then.shape[0], bits=8, ppi=600.0, profile=None, scanned_as="a.tif")  # fmt: skip
        originals.append(Original(reference=f"2026.001.000{number}", kind=Kind.COLOUR_PRINT, kind_confidence=1.0,
                                  masters=[master]))  # fmt: skip
    write(folder, CollectionInfo(name="c", credit="", rights=""), Software(name="s", version="1"), originals, [])
    return folder, scans


def test_one_of_six_has_faded(session: tuple[Path, Path]) -> None:
    folder, scans = session
    (scans / "unknown.tif").write_bytes((scans / "2026-001-0000_R.tif").read_bytes())
    report = compare_session(folder, scans, record=date(2026, 11, 25))
    assert [one.reference[-1] for one in report.reports if one.verdict != "unchanged"] == [str(FADED)]
    assert {one.scanner_correction for one in report.reports} == {"session"}
    faded = report.reports[FADED]
    assert faded.density_loss == pytest.approx((0.08,) * 3, abs=0.035)
    assert [one.file for one in report.set_aside] == ["unknown.tif"]
    assert report.exit_status == 1
    assert [one.report for one in kept(folder)] == report.reports


def test_exit_status() -> None:
    assert SessionReport(reports=[], set_aside=[]).exit_status == 0


def test_wrong_folders_are_said(session: tuple[Path, Path], tmp_path: Path) -> None:
    with pytest.raises(WrongUse, match="No scans"):
        compare_session(session[0], tmp_path)
    with pytest.raises(WrongUse, match="inside the collection"):
        compare_session(session[0], session[0] / "masters")


@pytest.mark.parametrize("words", [["c"], ["c", "7"], ["c", "7", "now.tif", "--session", "scans"]])
def test_one_scan_or_a_session_but_not_both(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["compare", *words]) == 2
    assert "--session with a folder of scans" in capsys.readouterr().err
