"""A second place: what is brought there, what is put right from which side, and what is never done."""

from __future__ import annotations

import random
import shutil
import subprocess
from pathlib import Path

import pytest

from surrogate.auditing import audit
from surrogate.cli import main
from surrogate.collection.catalogue import open_catalogue
from surrogate.collection.files import sha256_of
from surrogate.collection.inventory import expected, read_checksums
from surrogate.errors import CollectionUnusable, WrongUse
from surrogate.processing import process
from surrogate.rebuilding import rebuild


def flip(path: Path, rng: random.Random) -> bytes:
    """Flip one bit of a file; returns its bytes before."""
    before = path.read_bytes()
    changed = bytearray(before)
    changed[rng.randrange(len(changed))] ^= 1 << rng.randrange(8)
    path.chmod(0o644)
    path.write_bytes(changed)
    return before


def recorded(folder: Path) -> dict[str, str]:
    """Checksum of every file that the catalogue answers for."""
    with open_catalogue(folder) as catalogue:
        return {one.file: one.sha256 for one in expected(catalogue) if one.sha256 is not None}


@pytest.fixture
def mirrored(own_demo: Path, tmp_path: Path) -> tuple[Path, Path]:
    other = tmp_path / "second"
    assert audit(own_demo, mirror=other).exit_status == 0
    return own_demo, other


def test_every_file_has_a_checksum_that_sha256sum_agrees_with(own_demo: Path) -> None:
    told = subprocess.run(  # noqa: PLW1510  (what it found is asserted below)
        ["sha256sum", "--check", "--strict", "--quiet", "checksums.sha256"],
        cwd=own_demo,
        capture_output=True,
        text=True,
    )
    assert (told.returncode, told.stdout) == (0, "")
    listed = read_checksums(own_demo)
    areas = ("masters", "copies", "recipes", "condition")
    assert listed.keys() == {
        p.relative_to(own_demo).as_posix() for area in areas for p in (own_demo / area).rglob("*") if p.is_file()
    }


def test_the_second_place_holds_everything_and_stands_alone(mirrored: tuple[Path, Path]) -> None:
    folder, other = mirrored
    here = {p.relative_to(folder): sha256_of(p) for p in folder.rglob("*") if p.is_file() and p.name != ".held"}
    there = {p.relative_to(other): sha256_of(p) for p in other.rglob("*") if p.is_file() and p.name != ".held"}
    assert here == there
    assert not any(path.stat().st_mode & 0o222 for path in other.glob("masters/*/*.jpg"))
    again = audit(folder, mirror=other)
    assert again.mirror is not None
    assert again.mirror.copied == 1  # the catalogue, which notes that it was audited
    assert audit(other).findings == []


def test_damage_on_either_side_is_named_and_put_right_from_the_other(mirrored: tuple[Path, Path]) -> None:
    rng = random.Random(4)
    folder, other = mirrored
    chosen = rng.sample(sorted(recorded(folder)), 12)
    here, there = chosen[:6], chosen[6:]
    good = {file: flip(folder / file, rng) for file in here} | {file: flip(other / file, rng) for file in there}
    (other / here[0]).rename(folder / "kept by hand")  # one that neither side has whole
    bad = {file: (side / file).read_bytes() for side, files in ((folder, here), (other, there)) for file in files}
    named = audit(folder, mirror=other)
    assert named.mirror is not None
    assert {finding.file for finding in named.findings} == set(here)
    assert {finding.file for finding in named.mirror.findings} == set(there)
    assert all((folder / file).read_bytes() == bad[file] for file in here)  # nothing is done unasked
    repaired = audit(folder, mirror=other, repair=True)
    assert repaired.mirror is not None
    assert {finding.file for finding in repaired.findings if finding.repaired} == set(here[1:])
    assert all(finding.repaired for finding in repaired.mirror.findings)
    assert (folder / here[0]).read_bytes() == bad[here[0]]
    for file in chosen[1:]:
        assert (folder / file).read_bytes() == (other / file).read_bytes() == good[file]
        kept = (folder if file in here else other) / "damaged" / file
        assert kept.read_bytes() == bad[file]
    assert {finding.file for finding in audit(folder, mirror=other, repair=True).findings} == {here[0]}


def test_a_missing_file_comes_back_and_a_copy_made_again_is_brought(mirrored: tuple[Path, Path]) -> None:
    folder, other = mirrored
    master = next(folder.glob("masters/*/*.jpg"))
    content = master.read_bytes()
    master.unlink()
    report = audit(folder, mirror=other, repair=True)
    assert report.mirror is not None
    assert report.mirror.repaired_here == [master.relative_to(folder).as_posix()]
    assert master.read_bytes() == content
    assert master.stat().st_mode & 0o222 == 0
    with open_catalogue(folder) as catalogue, catalogue.transaction():  # a copy that was made again, rightly
        row = catalogue.copies(catalogue.originals()[0].reference)[0]
        (folder / row.copy.file).write_bytes(b"made again")
        new = row.copy.model_copy(update={"sha256": sha256_of(folder / row.copy.file)})
        catalogue.put_copy(type(row)(new, row.reference, row.made_as, row.described_as))
    report = audit(folder, mirror=other)
    assert report.mirror is not None
    assert report.mirror.findings == []
    assert (other / row.copy.file).read_bytes() == b"made again"


def test_when_both_sides_are_damaged_alike_nothing_is_touched(mirrored: tuple[Path, Path]) -> None:
    folder, other = mirrored
    file = next(iter(recorded(folder)))
    flip(folder / file, random.Random(1))
    shutil.copyfile(folder / file, folder / "same damage")
    (other / file).chmod(0o644)
    shutil.copyfile(folder / file, other / file)
    report = audit(folder, mirror=other, repair=True)
    assert [(finding.file, finding.repaired) for finding in report.findings] == [(file, False)]
    assert (folder / file).read_bytes() == (other / file).read_bytes() == (folder / "same damage").read_bytes()


def test_a_changed_sheet_is_brought_and_the_one_before_kept(mirrored: tuple[Path, Path]) -> None:
    folder, other = mirrored
    before = (other / "captions.csv").read_bytes()
    (folder / "captions.csv").write_bytes(before + b"\r\n")
    audit(folder, mirror=other)
    assert (other / "captions.csv").read_bytes() == before + b"\r\n"
    assert (other / "earlier" / "captions.csv").read_bytes() == before


def test_a_wrong_second_place_is_refused(own_demo: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for inside in (own_demo, own_demo / "second", own_demo.parent):
        with pytest.raises(WrongUse, match="not apart"):
            audit(own_demo, mirror=inside)
    (tmp_path / "holiday").mkdir()
    (tmp_path / "holiday" / "photo.jpg").touch()
    with pytest.raises(CollectionUnusable, match="holds other things"):
        audit(own_demo, mirror=tmp_path / "holiday")
    stranger = tmp_path / "stranger"
    stranger.mkdir()
    (stranger / "collection.toml").touch()
    (stranger / "checksums.sha256").write_text(f"{'0' * 64}  masters/g/x_r.tif\n")
    with pytest.raises(CollectionUnusable, match="another collection"):
        audit(own_demo, mirror=stranger)
    assert main(["audit", str(own_demo), "--repair"]) == 2
    assert main(["audit", str(own_demo), "--repair", "--quick", "--mirror", str(tmp_path / "second")]) == 2
    assert "--repair needs --mirror" in capsys.readouterr().err


def test_quick_sees_lengths_and_presence_of_every_file(own_demo: Path) -> None:
    files = sorted(recorded(own_demo))
    rng = random.Random(9)
    shorter, changed, gone = rng.sample(files, 3)
    (own_demo / shorter).chmod(0o644)
    (own_demo / shorter).write_bytes((own_demo / shorter).read_bytes()[:-1])
    flip(own_demo / changed, rng)
    (own_demo / gone).unlink()
    assert {f.file for f in audit(own_demo, quick=True).findings} == {shorter, gone}
    assert {f.file for f in audit(own_demo).findings} == {shorter, changed, gone}


def test_damage_never_becomes_the_record(own_demo: Path) -> None:
    before = recorded(own_demo)
    rng = random.Random(3)
    masters = [file for file in sorted(before) if file.startswith("masters/") and not file.endswith(".xmp")]
    copies = [file for file in sorted(before) if file.startswith("copies/") and file.endswith("_viewing.jpg")]
    flip(own_demo / masters[0], rng)  # a bit of it: many such masters still open
    flip(own_demo / copies[-1], rng)
    settings_file = own_demo / "collection.toml"  # new words for every copy, and another quality for every picture
    said = settings_file.read_text()
    settings_file.write_text(said.replace('credit = "Hollinmere', 'credit = "The'))
    assert settings_file.read_text() != said
    samples = Path(__file__).parent.parent / "sample_scans"
    process([samples], own_demo, captions=samples / "captions.csv", workers=1)
    assert recorded(own_demo)[masters[0]] == before[masters[0]]
    settings_file.write_text(settings_file.read_text() + "\n[copies]\nquality = 80\n")
    process([samples], own_demo, captions=samples / "captions.csv", workers=1)
    assert recorded(own_demo)[masters[0]] == before[masters[0]]
    found = [finding.file for finding in audit(own_demo).findings]
    assert found == [masters[0]]  # the copy was made again from its master, the master is named


def test_without_a_second_place_all_but_masters_is_made_again(own_demo: Path) -> None:
    samples = Path(__file__).parent.parent / "sample_scans"
    before = recorded(own_demo)
    rng = random.Random(12)
    areas = ("recipes/", "condition/", "copies/")
    chosen = [rng.choice([file for file in sorted(before) if file.startswith(area)]) for area in areas]
    chosen.append(next(file for file in sorted(before) if file.endswith(".xmp")))
    for file in chosen:
        flip(own_demo / file, rng)
    rebuild(own_demo)
    process([samples], own_demo, captions=samples / "captions.csv", workers=1)
    assert audit(own_demo).findings == []
    assert recorded(own_demo) == before


def test_what_is_half_written_or_unlinked_is_found(own_demo: Path) -> None:
    (own_demo / "copies" / ".x.jpg.7.unfinished").touch()
    (own_demo / ".incoming" / "3").mkdir(parents=True)
    (own_demo / ".incoming" / "3" / "master.tif").touch()
    with open_catalogue(own_demo) as catalogue, catalogue.transaction():
        row = catalogue.copies(catalogue.originals()[0].reference)[0]
        lost = row.copy.model_copy(update={"master_sha256": "0" * 64})
        catalogue.put_copy(type(row)(lost, row.reference, row.made_as, row.described_as))
    found = {f.file: f.problem for f in audit(own_demo).findings}
    assert found["copies/.x.jpg.7.unfinished"] == "was left half-written"
    assert found[".incoming/3/master.tif"] == "was left half-written"
    assert found[row.copy.file] == "is not linked to a master of its original"
