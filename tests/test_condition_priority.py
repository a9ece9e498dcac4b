"""The queue: its order on cases that any keeper of photographs would agree on, and its arithmetic by hand."""

import random

import pytest

from surrogate import film
from surrogate.condition import priority
from surrogate.condition.priority import Evidence
from surrogate.records import Condition, Fade, Grade, Kind, Region, Side, Stain


def first(*cases: Evidence) -> str:
    """Reference of whoever comes first."""
    return priority.rank(cases)[0][0]


def plain(reference: str, kind: Kind = Kind.SILVER_PRINT, **more: object) -> Evidence:
    """Nothing is wrong with it."""
    known = {"captioned": True, "copies": 2, "fade": Grade.NONE, "stain": Grade.NONE, "date": "1975", **more}
    return Evidence(reference, kind, **known)  # type: ignore[arg-type]


def test_possible_nitrate_comes_before_everything():
    assert first(
        plain("1", Kind.COLOUR_PRINT, enclosure="self-stick album", fade=Grade.SEVERE, captioned=False, copies=1),
        plain("2", Kind.NEGATIVE, date="1928"),
    ) == "2"  # fmt: skip


@pytest.mark.parametrize(
    "worse",
    [
        {"enclosure": "self-stick album"}, {"enclosure": "Magnetic album, green"}, {"notes": "in a PVC sleeve"},
        {"marks": frozenset({"suspected mould"})}, {"fade": Grade.SEVERE}, {"marks": frozenset({"tape"})},
        {"enclosure": "framed, on the wall"}, {"notes": "kept in the attic"},
    ],
)  # fmt: skip
def test_each_danger_moves_an_original_up(worse):
    # Same order as the usual advice of photograph care (common practice, no source).
    assert first(plain("1"), plain("2", **worse)) == "2"


def test_what_is_at_stake_counts():
    danger = {"enclosure": "self-stick album"}
    assert first(plain("1", **danger), plain("2", copies=1, **danger)) == "2"
    assert first(plain("1", **danger), plain("2", captioned=False, **danger)) == "2"
    assert first(plain("1", fade=Grade.MODERATE, loss=0.1), plain("2", fade=Grade.MODERATE, loss=0.4)) == "2"


def test_score_by_hand():
    # One risk of 0.60 (self-stick) with the 0.04 of a silver print; stake 0.5 + 0.2 (single) + 0.15 (no caption).
    case = Evidence("1", Kind.SILVER_PRINT, enclosure="self-stick album")
    assert priority.score(case) == round((1 - 0.96 * 0.40) * 0.85, 3)


def test_ties_go_by_reference_whatever_the_order():
    cases = [plain(f"2024.001.{i:04}") for i in range(9)]
    random.Random(2).shuffle(cases)
    assert [reference for reference, _ in priority.rank(cases)] == sorted(case.reference for case in cases)


def test_every_original_has_one_rank_and_one_sentence():
    cases = [plain(str(i), kind) for i, kind in enumerate(Kind)]
    ranked = priority.rank(cases)
    assert sorted(p.rank for _, p in ranked) == list(range(1, len(cases) + 1))
    assert all(p.reason.endswith(".") and p.reason[0].isupper() for _, p in ranked)
    assert ranked[-1][0] == str(list(Kind).index(Kind.TARGET))


def test_the_reason_is_the_greatest_risk():
    case = plain("1", Kind.COLOUR_PRINT, enclosure="self-stick album", fade=Grade.SLIGHT)
    assert "self-stick" in priority.rank([case])[0][1].reason


def test_worst_of_both_sides():
    fade = Fade(
        grade=Grade.MODERATE,
        density_min=None,
        density_max=None,
        density_loss=(0.3, 0.2, 0.1),
        uncertainty=(0.1, 0.1, 0.1),
    )
    none = Fade(grade=Grade.NOT_MEASURABLE, density_min=None, density_max=None, density_loss=None, uncertainty=None)
    tape = Region(kind="tape", box_mm=None, area_fraction=0.02, delta_e=9.0, confidence=0.9)
    unsure = Region(kind="rust", box_mm=None, area_fraction=0.02, delta_e=9.0, confidence=0.3)
    stain = Stain(grade=Grade.SLIGHT, area_fraction=0.02, yellowness_index=None, base_lab=None, regions=[tape, unsure])
    clean = Stain(grade=Grade.NONE, area_fraction=0.0, yellowness_index=None, base_lab=None)
    sides = [Condition(side=Side.RECTO, fade=fade, stain=clean), Condition(side=Side.VERSO, fade=none, stain=stain)]
    assert priority.worst(sides) == (Grade.MODERATE, 0.3, Grade.SLIGHT, frozenset({"tape"}))


@pytest.mark.parametrize(
    ("date", "edge", "notes", "suspected"),
    # Sold 1889 to 1951 in the United States (blog.ansi.org 2018-08 on NFPA 40-2019, read); elsewhere longer.
    [
        ("1928", "", "", True), ("1943~", "", "", True), ("194X", "", "", True), ("", "", "", True),
        ("1955", "", "", True),
        ("", "SAFETY", "", True), ("1934", "SAFETY FILM", "", True), ("1998", "", "", False),
        ("1985/1990", "", "", False),
        ("1998", "NITRATE", "", True), ("1998", "", "sticky, smells acrid", True), ("1998", "", "not nitrate", False),
        ("unknown", "", "not nitrate", True), ("../1998", "", "", True),
    ],
)  # fmt: skip
def test_nitrate_is_suspected_from_date_edge_and_words(date, edge, notes, suspected):
    found = film.nitrate(date, edge, notes)
    assert found.suspected is suspected
    assert found.questions
    assert bool(found.caution) is suspected


def test_the_caution_defers_to_those_who_may_judge():
    for words in ("never in a sealed can", "do not post it", "conservator", "Local rules"):
        assert words in film.NITRATE_CAUTION
