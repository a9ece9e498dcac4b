"""Killed, or without power, at any moment: the second run gives what an undisturbed one gives.

Two hundred kills and fifty cuts are tried by ``tests/benchmarks/quality_safety.py``; here is a handful of them.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path

import pytest
from safety import small

from surrogate.collection.catalogue import Catalogue, open_catalogue
from surrogate.processing import process

SCRIPT = Path(__file__).parent / "benchmarks" / "quality_safety.py"
pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="runs are forked")


def told(*arguments: str) -> str:
    done = subprocess.run([sys.executable, str(SCRIPT), *arguments], capture_output=True, text=True, check=True)
    return done.stdout


def test_killed_at_any_moment_the_second_run_gives_the_same_bytes() -> None:
    assert re.search(r"equal 3 of 3 ", said := told("kills", "0", "3")), said


def test_without_power_at_any_moment_the_second_run_gives_the_same_bytes() -> None:
    said = told("cuts", "1", "3")
    if "not tried" in said:
        pytest.skip(said)
    assert re.search(r"equal 2 of 2 ", said), said


class _Cut(BaseException):
    """The run ends here."""


@pytest.fixture(scope="module")
def calm(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """The scans, and a collection of them that nobody disturbed."""
    place = tmp_path_factory.mktemp("calm")
    small.write_scans(place / "scans")
    (place / "scans" / "orchard.tif").unlink()
    process([place / "scans"], place / "c", captions=place / "scans" / "captions.csv", workers=1)
    return place / "scans", place / "c"


def test_ended_right_after_a_scan_was_entered_it_is_not_taken_for_a_second_copy_of_itself(
    calm: tuple[Path, Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    scans, undisturbed = calm
    begun = Catalogue.transaction

    def cut(self: Catalogue) -> AbstractContextManager[None]:
        @contextmanager
        def until_a_side_is_entered() -> Iterator[None]:
            with begun(self):
                yield
            if any(self.copies(row.reference) for row in self.originals()):
                raise _Cut

        return until_a_side_is_entered()

    with monkeypatch.context() as patched:
        patched.setattr(Catalogue, "transaction", cut)
        with pytest.raises(_Cut):
            process([scans], tmp_path / "c", captions=scans / "captions.csv", workers=1)
    process([scans], tmp_path / "c", captions=scans / "captions.csv", workers=1)
    assert small.differences(small.contents(tmp_path / "c"), small.contents(undisturbed)) == []


def test_what_was_said_when_a_scan_arrived_outlasts_damage_to_its_copies(
    calm: tuple[Path, Path], tmp_path: Path
) -> None:
    scans, undisturbed = calm
    folder = Path(shutil.copytree(undisturbed, tmp_path / "c"))
    sheet = folder / "captions.csv"
    sheet.write_text(sheet.read_text(encoding="utf-8-sig").replace("The ferry", "The last ferry"), encoding="utf-8")
    (copy,) = folder.glob("copies/*/*_v_viewing.jpg")  # as if the run had been ended in the middle of describing it
    copy.write_bytes(copy.read_bytes()[:-100])
    with open_catalogue(folder) as catalogue:
        before = {row.reference: catalogue.notes(row.reference) for row in catalogue.originals()}
    assert any("was taken as the back of" in note for notes in before.values() for note in notes)
    assert len(process([scans], folder, workers=1).updated) == 2
    with open_catalogue(folder) as catalogue:
        assert {row.reference: catalogue.notes(row.reference) for row in catalogue.originals()} == before
