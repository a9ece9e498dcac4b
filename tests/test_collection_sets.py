"""Sets are plain text files; every command that takes reference numbers takes a set, and publish shows only one."""

from __future__ import annotations

from pathlib import Path

import handmade
import pytest

from surrogate.collection import sets
from surrogate.copies.collection_reading import numbers_asked
from surrogate.errors import WrongUse
from surrogate.handover.site import publish


def test_a_set_is_read_as_people_write_it(tmp_path: Path) -> None:
    (tmp_path / "sets").mkdir()
    (tmp_path / "sets/Aunt Ada.txt").write_bytes(
        b"\xef\xbb\xbf# mine\r\n 2026.001.0002 \r\n\r\n2026.001.0001\r\n2026.001.0002"
    )
    assert sets.names(tmp_path) == ["Aunt Ada"]
    assert sets.read(tmp_path, "Aunt Ada") == ["2026.001.0002", "2026.001.0001"]
    assert sets.expanded(tmp_path, ["2026.001.0009", "@Aunt Ada", "2026.001.0001"]) == [
        *("2026.001.0009", "2026.001.0002", "2026.001.0001"),
    ]
    assert numbers_asked(tmp_path, ["@Aunt Ada"], None) == ["2026.001.0002", "2026.001.0001"]
    with pytest.raises(WrongUse, match="Sets of this collection: Aunt Ada"):
        sets.expanded(tmp_path, ["@nobody"])


@pytest.mark.parametrize("name", ["../x", "/etc/passwd", "a/b", "", ".hidden", "x\n", "x" * 61, "a\0b"])
def test_a_name_never_leads_elsewhere(tmp_path: Path, name: str) -> None:
    with pytest.raises(WrongUse):
        sets.write(tmp_path, name, ["2026.001.0001"])
    with pytest.raises(WrongUse):
        sets.read(tmp_path, name)
    assert list(tmp_path.iterdir()) == []


def test_publish_shows_only_the_set(tmp_path: Path) -> None:
    folder = tmp_path / "collection"
    whole = handmade.build(folder, 3)
    shown = whole.originals[1].reference
    report = publish(folder, tmp_path / "site", only=[shown])
    assert (report.shown, report.hidden) == (1, 2)
