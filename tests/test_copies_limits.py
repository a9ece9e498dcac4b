"""A viewing copy that does not keep its limits is made again more gently, and says so."""

from __future__ import annotations

from pathlib import Path

import pytest

from surrogate import pipeline
from surrogate.collection.settings import CopiesSection, ScanSection
from surrogate.copies import fidelity
from surrogate.jobs import Decisions, Job
from surrogate.records import Fidelity, Kind, Side, Strength, Tone, Use
from tests.conftest import SAMPLES


def proof(**other: float) -> Fidelity:
    return Fidelity(**{"clipped_black": 0.0, "clipped_white": 0.0, "largest_gain": 1.5, "structure": 0.99, **other})


def test_faults_are_said_in_words() -> None:
    assert fidelity.faults(proof()) == ""
    assert fidelity.faults(proof(clipped_white=0.031)) == "turn 3.1 % of the picture plain white"
    assert fidelity.faults(proof(largest_gain=9.9)) == ""
    assert fidelity.faults(proof(largest_gain=10.24)) == "raise contrast 10.2 times"
    both = fidelity.faults(proof(clipped_black=0.05, structure=0.9))
    assert both == "turn 5.0 % of the picture plain black and keep only 90 % of its structure"


@pytest.mark.parametrize(
    ("strength", "tried"),
    [(Strength.STANDARD, []), (Strength.GENTLE, ["standard"]), (Strength.NONE, ["standard", "gentle"])],
)
def test_a_copy_falls_back_to_gentler(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, strength: Strength, tried: list[str]
) -> None:
    proofs = iter([proof(structure=0.5)] * len(tried) + [proof()] * 9)
    monkeypatch.setattr(fidelity, "measure", lambda *_: next(proofs))
    decided = Decisions(
        kind=Kind.COLOUR_PRINT,
        kind_from="command",
        strength=Strength.STANDARD,
        tone=Tone.AS_FOUND,
        copies=CopiesSection(viewing_long_edge=400),
        scan=ScanSection(),
        outlines=(),
    )
    job = Job(SAMPLES / "scan0007.jpg", "scan0007.jpg", Side.RECTO, tmp_path / "staging", decided)
    taken = pipeline.take_in(job)
    recipe = next(copy.recipe for copy in taken.copies if copy.use is Use.VIEWING)
    assert recipe.strength == strength.value
    said = [word for word in recipe.words if "was not kept" in word]
    assert said == [f"{each} correction was not kept: it would keep only 50 % of its structure" for each in tried]
    assert (recipe.steps == []) is (strength is Strength.NONE)
