"""Edits in the sheet and at the desk since the last run: nothing lost, every conflict shown."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from surrogate.description.merging import CONFLICT_COLUMN, merge_row, same
from surrogate.description.sheet import read_sheet, write_sheet

ENDINGS = ("=1+1", "café", "two\nlines", "a;b", "👋")
COLUMNS = ("title", "caption", "date", "people", "notes", "shelf")


def test_edits_in_different_places_come_together() -> None:
    base = {"title": "Ferry", "caption": "", "date": "1943"}
    merged, conflicts = merge_row(base, {**base, "caption": "At the quay"}, {**base, "date": "1944"})
    assert merged == {"title": "Ferry", "caption": "At the quay", "date": "1944"}
    assert conflicts == []


def test_a_conflict_shows_both_values_until_a_person_empties_it() -> None:
    base = {"reference": "1", "title": "Ferry"}
    merged, conflicts = merge_row(base, {**base, "title": "The ferry"}, {**base, "title": "Steamer\nat noon"})
    assert merged["title"] == "The ferry"
    assert merged[CONFLICT_COLUMN] == "title: also written at the desk: Steamer\nat noon"
    (conflict,) = conflicts
    assert (conflict.before, conflict.sheet, conflict.other) == ("Ferry", "The ferry", "Steamer\nat noon")
    for value in ("The ferry", "Steamer"):
        assert value in conflict.words()
    again, none = merge_row(merged, merged, merged)
    assert again == merged
    assert none == []
    emptied, none = merge_row(merged, {**merged, CONFLICT_COLUMN: ""}, merged)
    assert emptied[CONFLICT_COLUMN] == ""
    assert none == []


def test_the_same_edit_twice_is_no_conflict_and_clearing_is_an_edit() -> None:
    base = {"title": "Ferry", "notes": "x"}
    merged, conflicts = merge_row(base, {"title": "Boat", "notes": ""}, {"title": "Boat", "notes": "x"})
    assert merged == {"title": "Boat", "notes": ""}
    assert conflicts == []
    cleared, conflicts = merge_row(base, {"title": "", "notes": "x"}, {"title": "Steamer", "notes": "x"})
    assert len(conflicts) == 1
    assert "Steamer" in cleared[CONFLICT_COLUMN]


def test_a_column_that_was_deleted_from_the_sheet_is_not_an_edit() -> None:
    base = {"title": "Ferry", "notes": "x"}
    merged, conflicts = merge_row(base, {"title": "Ferry"}, {**base, "notes": "y"})
    assert merged == {"title": "Ferry", "notes": "y"}
    assert conflicts == []


def test_a_row_that_was_deleted_from_the_sheet_is_not_an_edit() -> None:
    base = {"reference": "1", "side": "recto", "title": "a"}
    assert merge_row(base, {}, {**base, "title": "b"}) == ({**base, "title": "b"}, [])


@pytest.mark.parametrize(
    ("cell", "before"),
    [
        # what spreadsheet programs make of cells when they open and save a CSV file (common practice, no source)
        ("May-43", "1943-05"),
        ("Mai 43", "1943-05"),
        ("mai.43", "1943-05"),
        ("May 1943", "1943-05"),
        ("05/01/1943", "1943-05"),
        ("01.05.1943", "1943-05"),
        ("12/05/1943", "1943-05-12"),
        ("5/12/43", "1943-05-12"),
        ("12.05.1943", "1943-05-12"),
        ("1943/05/12", "1943-05-12"),
        ("7", "007"),
        ("1.23457E+17", "123456789012345678"),
        ("1,23457E+17", "123456789012345678"),
        ("two\r\nlines ", "two\nlines"),
    ],
)
def test_what_a_spreadsheet_program_does_to_a_cell_is_no_edit(cell: str, before: str) -> None:
    assert same(cell, before)
    merged, conflicts = merge_row({"x": before}, {"x": cell}, {"x": "edited at the desk"})
    assert merged == {"x": "edited at the desk"}
    assert conflicts == []


@pytest.mark.parametrize(
    ("cell", "before"),
    [
        ("Jun-43", "1943-05"),
        ("May-44", "1943-05"),
        ("13/05/1943", "1943-05-12"),
        ("8", "007"),
        ("", "007"),
        ("1944", "1943"),
    ],
)
def test_a_persons_edit_is_an_edit(cell: str, before: str) -> None:
    assert not same(cell, before)


def edited(row: dict[str, str], rng: random.Random, who: str, step: int) -> dict[str, str]:
    """The row after a person changed, emptied or left alone each field."""
    changed = dict(row)
    for column in COLUMNS:
        chance = rng.random()
        if chance < 0.2:
            changed[column] = f"{who} {step} {column} {rng.choice(ENDINGS)}"
        elif chance < 0.25:
            changed[column] = ""
    return changed


@pytest.mark.parametrize("part", range(5))
def test_in_500_random_histories_nothing_is_lost_and_every_conflict_shows(tmp_path: Path, part: int) -> None:
    def through_a_file(rows: list[dict[str, str]]) -> list[dict[str, str]]:
        if seed % 10:  # every tenth history goes through a real file
            return [dict(row) for row in rows]
        write_sheet(tmp_path / "captions.csv", rows)
        return [{**row.written, **row.extra} for row in read_sheet(tmp_path / "captions.csv").rows]

    for seed in range(part * 100, part * 100 + 100):
        rng = random.Random(seed)
        known = [{"reference": str(n), "side": "recto", **dict.fromkeys(COLUMNS, "")} for n in range(rng.randint(1, 3))]
        for step in range(rng.randint(1, 4)):
            written = through_a_file(known)
            assert [filled(row) for row in written] == [filled(row) for row in known]
            base = [dict(row) for row in known]
            desk = [edited(row, rng, "desk", step) for row in known]
            sheet = [edited(row, rng, "sheet", step) for row in written]
            if rng.random() < 0.2:
                sheet.pop(rng.randrange(len(sheet)))
            if rng.random() < 0.3:
                rng.shuffle(sheet)
            found = {row["reference"]: row for row in through_a_file(sheet)}
            rows = [
                merge_row(before, found.get(before["reference"], {}), now)
                for before, now in zip(base, desk, strict=True)
            ]
            merged = [row for row, _ in rows]
            check(base, sheet, desk, merged, {(each.reference, each.column) for _, some in rows for each in some})
            known = [{**dict.fromkeys(COLUMNS, ""), **row} for row in merged]


def filled(row: dict[str, str]) -> dict[str, str]:
    return {column: cell for column, cell in row.items() if cell}


def check(
    base: list[dict[str, str]],
    sheet: list[dict[str, str]],
    desk: list[dict[str, str]],
    merged: list[dict[str, str]],
    conflicts: set[tuple[str, str]],
) -> None:
    """Every value that anybody wrote since the last run stands in the merged row, in its field or as a conflict."""
    by_number = [{row["reference"]: row for row in rows} for rows in (base, sheet, desk, merged)]
    assert set(by_number[3]) == set(by_number[0])
    for number, before in by_number[0].items():
        theirs, ours, result = by_number[1].get(number, before), by_number[2][number], by_number[3][number]
        for column in COLUMNS:
            old, one, other = before[column], theirs.get(column, ""), ours[column]
            clash = one not in (old, other) and other != old
            assert ((number, column) in conflicts) == clash
            if clash:
                assert result[column] == one
                assert f"{column}: also written at the desk: {other or '(emptied)'}" in result[CONFLICT_COLUMN]
            else:
                assert result[column] == (one if one != old else other)
