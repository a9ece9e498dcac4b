"""Originals that share a lot in the caption sheet are judged together, whatever order they came in."""

from __future__ import annotations

import csv
import shutil
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from surrogate.collection.files import sha256_of
from surrogate.condition import lot
from surrogate.condition.fade_colour import estimate_jointly
from surrogate.imaging.density import to_density
from surrogate.lots import MOST, _Print, groups_of
from surrogate.processing import ProcessReport, process
from surrogate.rebuilding import rebuild
from surrogate.records import Condition, Lot
from surrogate.reviving import revive

#: One ageing for all: shares of cyan, magenta and yellow dye that were kept.
KEPT = (0.55, 0.8, 0.85)
LOTS = {"bench": "Summer 1974", "canoe": " summer  1974", "dunes": "Summer 1974", "early": ""}


def scan(path: Path, seed: int) -> None:
    rng = np.random.default_rng(seed)
    density = np.kron(rng.uniform(0.1, 1.8, (9, 12, 3)), np.ones((24, 24, 1)))
    density = (0.25 * density + 0.75 * density.mean(axis=2, keepdims=True)) * KEPT
    framed = np.pad(density, ((16, 16), (16, 16), (0, 0))) + np.array((0.08, 0.1, 0.16))
    light = 10.0 ** -(framed + rng.normal(0, 0.004, framed.shape))
    codes = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)  # IEC 61966-2-1
    Image.fromarray((codes.clip(0, 1) * 255).round().astype(np.uint8)).save(path, dpi=(300, 300))


def sheet(path: Path, lots: dict[str, str]) -> Path:
    with path.open("w", encoding="utf-8", newline="") as stream:
        lines = csv.writer(stream)
        lines.writerow(["file", "reference", "lot"])
        lines.writerows([f"{name}.png", f"1974.001.{i:04}", lot] for i, (name, lot) in enumerate(lots.items(), 1))
    return path


def condition(folder: Path, number: int) -> Condition:
    return Condition.model_validate_json((folder / f"condition/1974-001/1974-001-{number:04}_r.json").read_bytes())


def made(folder: Path) -> dict[str, str]:
    """What was measured, planned and copied, by file."""
    files = (path for area in ("condition", "recipes", "copies") for path in (folder / area).rglob("*.*"))
    return {str(path.relative_to(folder)): sha256_of(path) for path in files}


def run(scans: list[Path], folder: Path, captions: Path | None, workers: int = 1) -> ProcessReport:
    if not folder.exists():
        folder.mkdir()
        (folder / "collection.toml").write_text("[collection]\nyear = 1974\n[copies]\ncrop = false\n", encoding="utf-8")
    return process(scans, folder, captions=captions, kind="colour-print", workers=workers)


@pytest.fixture(scope="module")
def scans(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    folder = tmp_path_factory.mktemp("lots") / "scans"
    folder.mkdir()
    for seed, name in enumerate(LOTS):
        scan(folder / f"{name}.png", seed)
    return [folder / f"{name}.png" for name in LOTS]


@pytest.fixture(scope="module")
def at_once(scans: list[Path]) -> Path:
    root = scans[0].parent.parent
    run(scans, root / "at once", sheet(root / "captions.csv", LOTS))
    return root / "at once"


def test_a_lot_is_one_ageing_and_others_are_left_alone(at_once: Path) -> None:
    losses = [condition(at_once, number).fade.density_loss for number in (1, 2, 3, 4)]
    notes = [condition(at_once, number).fade.note for number in (1, 2, 3, 4)]
    assert losses[0] == losses[1] == losses[2]
    assert losses[3] != losses[0]
    assert all("judged together with 2 other prints of its lot" in note for note in notes[:3])
    assert "lot" not in notes[3]


def test_order_workers_and_later_arrival_change_nothing(at_once: Path, scans: list[Path], tmp_path: Path) -> None:
    captions = sheet(tmp_path / "captions.csv", LOTS)
    run(scans[2:], tmp_path / "later", captions, workers=2)
    assert "judged together" not in condition(tmp_path / "later", 3).fade.note  # its lot has not come yet
    run(scans[:2], tmp_path / "later", captions)
    assert made(tmp_path / "later") == made(at_once)


def test_a_lot_that_changes_is_followed_and_everything_can_be_made_again(
    at_once: Path, scans: list[Path], tmp_path: Path
) -> None:
    folder = Path(shutil.copytree(at_once, tmp_path / "own"))
    before = made(folder)
    (folder / "catalogue.sqlite").unlink()
    revive(folder)  # from plain files
    assert run(scans, folder, None).updated == []
    text = (folder / "captions.csv").read_text(encoding="utf-8-sig")
    (folder / "captions.csv").write_text(text.replace("summer  1974", "elsewhere"), encoding="utf-8")
    assert sorted(run(scans, folder, None).updated) == [f"1974.001.000{number} recto" for number in (1, 2, 3)]
    assert "judged together with 1 other print of its lot" in condition(folder, 3).fade.note
    assert "lot" not in condition(folder, 2).fade.note
    assert {name for name, digest in made(folder).items() if before[name] != digest and name.startswith("recipes")}
    assert rebuild(folder).exit_status == 0


def test_very_large_lots_are_judged_in_groups_that_new_prints_leave_alone() -> None:
    class Master:
        def __init__(self, number: int) -> None:
            self.scanned_as, self.sha256 = f"{number:04}.tif", "0"

    members = [_Print(str(i), Master(i), None) for i in range(2 * MOST)]  # type: ignore[arg-type]
    more = [_Print(str(i), Master(i), None) for i in range(2 * MOST + 9)]  # type: ignore[arg-type]
    assert [len(group) for group in groups_of(members)] == [MOST, MOST]
    assert [len(group) for group in groups_of(more)] == [MOST, MOST, 9]
    assert [[one.reference for one in group] for group in groups_of(list(reversed(more)))[:2]] == [
        [one.reference for one in group] for group in groups_of(members)
    ]
    assert [len(group) for group in groups_of(more[: MOST + 1])] == [MOST + 1]
    assert groups_of(members[:1]) == []


def test_what_is_kept_of_a_lot_gives_the_numbers_of_the_pictures_themselves(scans: list[Path]) -> None:
    densities = [to_density(np.asarray(Image.open(path))) for path in scans[:3]]
    densities.append((densities[0] * np.float32(0.45)).astype(np.float32))  # faded in another way: judged alone
    kept = tuple(lot.glance(density) for density in densities)
    assert max(map(len, kept)) < 8192
    jointly = estimate_jointly(densities)
    for place, density in enumerate(densities):
        alike = lot.estimate(density, Lot(glances=kept, place=place))
        assert alike.dye_share == pytest.approx(jointly[place].dye_share, abs=2e-5)
        assert alike.evidence == jointly[place].evidence
    assert lot.glance(np.zeros((8, 8, 3), np.float32)) == ""
