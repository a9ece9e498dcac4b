"""The collection folder: files that appear whole or not at all, settings, catalogue, holding."""

from __future__ import annotations

import errno
import hashlib
import os
import sqlite3
import subprocess
from pathlib import Path

import pytest

from surrogate.collection import files, paths, register, settings
from surrogate.collection.catalogue import open_catalogue
from surrogate.collection.holding import clear_unfinished, held
from surrogate.collection.numbering import Pattern
from surrogate.errors import CollectionUnusable, DiskFull, ScanSetAside
from surrogate.records import Kind, Master, SetAside, Side, Use


def test_checksums_agree_with_sha256sum(tmp_path: Path) -> None:
    path = tmp_path / "scan"
    path.write_bytes(os.urandom(3_000_001))
    told = subprocess.run(["sha256sum", str(path)], capture_output=True, text=True, check=True).stdout.split()[0]
    sha256, size = files.copy_hashed(path, tmp_path / "copy")
    assert (sha256, size) == (told, 3_000_001)
    assert files.sha256_of(tmp_path / "copy") == told
    # the empty message, FIPS 180-4 examples
    (tmp_path / "empty").touch()
    assert files.sha256_of(tmp_path / "empty") == hashlib.sha256(b"").hexdigest()


def test_a_failed_write_leaves_the_old_file_and_nothing_else(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    target = tmp_path / "file"
    files.write_atomic(target, b"old")

    def full(_handle: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(DiskFull, match="disk is full"):
        files.write_atomic(target, b"new")
    assert target.read_bytes() == b"old"
    assert [p.name for p in tmp_path.iterdir()] == ["file"]


def test_the_same_content_is_not_written_again(tmp_path: Path) -> None:
    target = tmp_path / "sub" / "file"
    assert files.replace_if_changed(target, b"a")
    before = target.stat().st_mtime_ns
    assert not files.replace_if_changed(target, b"a")
    assert target.stat().st_mtime_ns == before
    assert files.replace_if_changed(target, b"b")


def test_settings_written_first_read_back_as_the_defaults(tmp_path: Path) -> None:
    settings.write_first(tmp_path, 2026)
    found = settings.read(tmp_path)
    assert found.collection.year == 2026
    assert found.copies == settings.CopiesSection()
    assert found.collection.reference == "{year}.{accession:03}.{item:04}"


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("[collection\n", "cannot be read"),
        ('[collection]\nreference = "{item"\n', "brace"),
        ('[copies]\nstrength = "mighty"\n', "copies.strength"),
        ("[copies]\nviewing_long_edge = -5\n", "viewing_long_edge"),
        ('[scan]\nkind = "hologram"\n', "scan.kind"),
        ('[nonsense]\na = "b"\n', "nonsense"),
    ],
)
def test_wrong_settings_are_named_in_one_sentence(text: str, word: str, tmp_path: Path) -> None:
    (tmp_path / "collection.toml").write_text(text)
    with pytest.raises(CollectionUnusable, match=word) as problem:
        settings.read(tmp_path)
    assert "\n" not in str(problem.value)


def test_names_of_files_follow_the_reference() -> None:
    assert paths.master("2026.001.0004", Side.VERSO, "tif") == "masters/2026-001/2026-001-0004_v.tif"
    assert paths.copy("2026.001.0004", Side.RECTO, 2, Use.VIEWING) == "copies/2026-001/2026-001-0004_r_p2_viewing.jpg"
    # FADGI Technical Guidelines 2016, p. 84: at most 32 characters
    assert len(Path(paths.copy("2026.001.0004", Side.RECTO, None, Use.THUMBNAIL)).name) <= 32


def master(side: Side, sha256: str) -> Master:
    return Master(
        side=side, file="masters/x.tif", sha256=sha256, bytes=1, width=1, height=1, bits=8, ppi=None, profile=None,
        scanned_as="scan.tif",
    )  # fmt: skip


def test_numbers_are_never_given_twice(tmp_path: Path) -> None:
    found, pattern = settings.Settings(), Pattern.parse("{year}.{accession:03}.{item:04}")
    found = found.model_copy(update={"collection": found.collection.model_copy(update={"year": 2026})})
    with open_catalogue(tmp_path) as catalogue:
        with catalogue.transaction():
            register.give_stated(catalogue, pattern, "2026.001.0007")
        with catalogue.transaction():
            first = register.give_next(catalogue, found, pattern, Kind.UNKNOWN)
            second = register.give_next(catalogue, found, pattern, Kind.UNKNOWN)
    assert (first, second) == ("2026.001.0008", "2026.001.0009")
    with open_catalogue(tmp_path) as catalogue, catalogue.transaction():
        assert register.give_next(catalogue, found, pattern, Kind.UNKNOWN) == "2026.001.0010"


def test_letters_count_their_own_items(tmp_path: Path) -> None:
    found = settings.Settings(letters={"negative": "N"})
    pattern = Pattern.parse("{letter}{item:04}")
    with open_catalogue(tmp_path) as catalogue, catalogue.transaction():
        given = [
            register.give_next(catalogue, found, pattern, kind) for kind in (Kind.UNKNOWN, Kind.NEGATIVE, Kind.NEGATIVE)
        ]
    assert given == ["0001", "N0001", "N0002"]


def test_a_clash_names_both_scans(tmp_path: Path) -> None:
    with open_catalogue(tmp_path) as catalogue, catalogue.transaction():
        catalogue.put_master("1.1", master(Side.RECTO, "a" * 64), complete=True)
        with pytest.raises(ScanSetAside, match=r"already belongs to scan\.tif") as problem:
            register.refuse_clash(catalogue, "1.1", Side.RECTO, "other.tif")
        assert "other.tif" in problem.value.advice
        register.refuse_clash(catalogue, "1.1", Side.VERSO, "back.tif")


def test_a_failed_transaction_leaves_nothing(tmp_path: Path) -> None:
    with open_catalogue(tmp_path) as catalogue:

        def interrupted() -> None:
            with catalogue.transaction():
                catalogue.put_set_aside(SetAside(file="a", reason="b", advice="c"))
                raise RuntimeError

        with pytest.raises(RuntimeError):
            interrupted()
        assert catalogue.set_aside() == []


def test_a_newer_catalogue_and_a_damaged_one_are_refused(tmp_path: Path) -> None:
    with open_catalogue(tmp_path):
        pass
    connection = sqlite3.connect(tmp_path / "catalogue.sqlite")
    assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    connection.execute("PRAGMA user_version = 99")
    connection.close()
    with pytest.raises(CollectionUnusable, match="newer software"), open_catalogue(tmp_path):
        pass
    (tmp_path / "catalogue.sqlite").write_bytes(b"not a database, but long enough to look at" * 100)
    with pytest.raises(CollectionUnusable, match="cannot be used"), open_catalogue(tmp_path):
        pass


def test_a_collection_is_held_by_one_command_at_a_time(tmp_path: Path) -> None:
    def audited() -> None:
        with held(tmp_path, "audit"):
            pass

    with held(tmp_path, "process"), pytest.raises(CollectionUnusable, match=r"in use by `surrogate process`"):
        audited()
    with held(tmp_path, "audit"):  # free again
        pass


def test_leftovers_of_an_interrupted_run_are_cleared(tmp_path: Path) -> None:
    (tmp_path / ".incoming/3").mkdir(parents=True)
    (tmp_path / ".incoming/3/master.tif").touch()
    (tmp_path / "copies/g").mkdir(parents=True)
    (tmp_path / "copies/g/.x.jpg.12.unfinished").touch()
    (tmp_path / "copies/g/x.jpg").touch()
    clear_unfinished(tmp_path)
    left = sorted(p.relative_to(tmp_path).as_posix() for p in tmp_path.rglob("*") if p.is_file())
    assert left == ["copies/g/x.jpg"]
