"""Hand-over: bags in two other validators, metadata against the standards' schemas, and the way back."""

from __future__ import annotations

import csv
import hashlib
import os
import random
import shutil
import subprocess
from pathlib import Path

import bagit
import handmade
import pytest
from lxml import etree

from surrogate.collection import listing, paths
from surrogate.collection.catalogue import open_file
from surrogate.errors import WrongUse
from surrogate.handover import archive, bag, finding_aid, formats, groups, takeover
from surrogate.handover.shares import HandoverRefused
from surrogate.handover.site import publish
from surrogate.records import Manifest, Original

SCHEMAS = Path(__file__).with_name("schemas")
PREMIS = {"p": "http://www.loc.gov/premis/v3"}
EAD = {"e": "http://ead3.archivists.org/schema/"}


def build(folder: Path, originals: int = 4) -> Manifest:
    whole = handmade.build(folder, originals)
    with open_file(folder / "catalogue.sqlite") as catalogue:
        for original in whole.originals:
            catalogue.add_event(original.reference, "taken in", "scan (recto), surrogate 0")
        catalogue.add_event(None, "audit", "every file read; nothing was wrong")
    (folder / "report.html").write_text("<!doctype html>")
    return whole


def checksums(folder: Path) -> dict[str, str]:
    return {
        file.relative_to(folder).as_posix(): hashlib.sha256(file.read_bytes()).hexdigest()
        for file in folder.rglob("*")
        if file.is_file() and not file.name.startswith(".")
    }


@pytest.fixture(scope="module")
def handed(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path, Manifest]:
    top = tmp_path_factory.mktemp("hand over")
    whole = build(top / "collection")
    archive.handover(top / "collection", top / "bag", sha512=True)
    return top / "collection", top / "bag", whole


def test_valid_by_bagit_and_by_sha256sum(handed: tuple[Path, Path, Manifest]) -> None:
    """The Library of Congress's bagit and GNU coreutils as outside judges."""
    _, made, _ = handed
    theirs = bagit.Bag(str(made))
    theirs.validate()
    assert set(theirs.algorithms) == {"sha256", "sha512"}
    for tool, names in (("sha256sum", "manifest-sha256.txt"), ("sha512sum", "tagmanifest-sha512.txt")):
        subprocess.run([tool, "--strict", "--quiet", "-c", names], cwd=made, check=True)
    assert archive.check(made) == []


def test_holds_the_whole_collection_unchanged(handed: tuple[Path, Path, Manifest]) -> None:
    collection, made, _ = handed
    payload = {p: d for p, d in checksums(made / "data").items() if not p.startswith("metadata/")}
    assert payload == checksums(collection)


def test_premis_is_valid_and_complete(handed: tuple[Path, Path, Manifest]) -> None:
    _, made, whole = handed
    document = etree.parse(made / "data/metadata/premis.xml")
    etree.XMLSchema(etree.parse(SCHEMAS / "premis-v3-0.xsd")).assertValid(document)
    files = {c.file: c.sha256 for o in whole.originals for c in (*o.masters, *o.copies)}
    for file, digest in files.items():
        found = document.xpath(
            "//p:object[p:objectIdentifier/p:objectIdentifierValue=$file]//p:messageDigest/text()",
            namespaces=PREMIS,
            file=file,
        )
        assert found == [digest]
    kinds = document.xpath("//p:eventType/text()", namespaces=PREMIS)
    assert set(kinds) == {
        "ingestion", "message digest calculation", "metadata extraction", "creation", "fixity check"
    }  # fmt: skip
    assert len(kinds) == 4 * len(whole.originals) + 1
    identifiers = document.xpath("//p:objectIdentifierValue/text()", namespaces=PREMIS)
    assert len(identifiers) == len(set(identifiers))
    for linked in document.xpath(
        "//p:relatedObjectIdentifierValue/text() | //p:linkingObjectIdentifierValue/text()", namespaces=PREMIS
    ):
        assert linked in identifiers
    sizes = document.xpath("//p:object[p:storage][.//p:size]", namespaces=PREMIS)
    for item in sizes:
        place = item.findtext("p:storage//p:contentLocationValue", namespaces=PREMIS)
        assert (made / place).stat().st_size == int(item.findtext(".//p:size", namespaces=PREMIS))


def test_finding_aid_is_valid_and_complete(handed: tuple[Path, Path, Manifest]) -> None:
    _, made, whole = handed
    document = etree.parse(made / "data/metadata/finding_aid.xml")
    etree.XMLSchema(etree.parse(SCHEMAS / "ead3.xsd")).assertValid(document)
    items = document.xpath("//e:c[@level='item']/e:did/e:unitid/text()", namespaces=EAD)
    assert items == [original.reference for original in whole.originals]
    for link in document.xpath("//e:dao/@href", namespaces=EAD):
        assert (made / "data/metadata" / link).is_file()
    with (made / "data/metadata/finding_aid.csv").open(newline="", encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    # the six elements that ISAD(G), second edition, I.12, calls essential for exchange
    for element in ("3.1.1", "3.1.2", "3.1.3", "3.1.4", "3.1.5", "3.2.1"):
        column = next(name for name in finding_aid.COLUMNS if name.startswith(element))
        assert all(row[column] for row in rows if row["3.1.4 Level of description"] == "item")
    assert [row["3.1.4 Level of description"] for row in rows[:2]] == ["fonds", "series"]


def test_hostile_words_stay_valid_xml(tmp_path: Path) -> None:
    whole = handmade.build(tmp_path / "c", 2)
    texts = (*handmade.HOSTILE, "a\x00b\x0b\ud7ff\ufffe", "   ", "]]>")
    items = [
        Original.model_validate(
            whole.originals[0].model_dump()
            | {"title": t, "caption": t, "place": t, "people": [t], "creator": t, "date": t, "rights": t, "notes": t}
            | {"reference": f"2026.001.{number:04}", "location": {"box": t, "folder": t, "enclosure": t}}
        )
        for number, t in enumerate(texts)
    ]
    named = whole.collection.model_copy(update={"name": texts[0], "credit": texts[-1], "rights": texts[3]})
    with (tmp_path / "ead.xml").open("w", encoding="utf-8") as stream:
        finding_aid.write_ead(stream, named, whole.software, items)
    document = etree.parse(tmp_path / "ead.xml")
    etree.XMLSchema(etree.parse(SCHEMAS / "ead3.xsd")).assertValid(document)
    assert document.xpath("//e:c[@level='item'][1]/e:scopecontent/e:p/text()", namespaces=EAD)[0].startswith(texts[0])


def test_every_flip_deletion_and_addition_is_found(handed: tuple[Path, Path, Manifest], tmp_path: Path) -> None:
    """200 acts of damage, a third of each kind, on files drawn at random (seeded)."""
    _, made, _ = handed
    files = sorted(file.relative_to(made) for file in made.rglob("*") if file.is_file())
    chance = random.Random(7)
    copy = tmp_path / "bag"
    shutil.copytree(made, copy)
    assert bag.check(copy) == []
    missed = []
    for number in range(200):
        victim = copy / chance.choice(files)
        content = victim.read_bytes()
        kind = number % 3
        if kind == 0:
            at = chance.randrange(len(content))
            victim.write_bytes(content[:at] + bytes([content[at] ^ (1 << chance.randrange(8))]) + content[at + 1 :])
        elif kind == 1:
            victim.unlink()
        else:
            victim = victim.with_name(f"added_{number}.txt")
            victim.write_bytes(b"x")
        if not bag.check(copy):
            missed.append((kind, victim.name))
        if kind == 2:
            victim.unlink()
        else:
            victim.write_bytes(content)
    assert missed == []
    assert bag.check(copy) == []


def test_round_trip_gives_the_same_checksums(handed: tuple[Path, Path, Manifest], tmp_path: Path) -> None:
    collection, made, whole = handed
    again = tmp_path / "again"
    report = takeover.take_over([made], again)
    assert report.originals == len(whole.originals)
    assert checksums(again) == checksums(collection)
    assert listing.read(again) == whole
    for original in whole.originals:
        assert not os.access(again / original.masters[0].file, os.W_OK) or os.geteuid() == 0
        assert (again / original.masters[0].file).stat().st_mode & 0o222 == 0
    archive.handover(again, tmp_path / "second", sha512=True)
    for names in ("manifest-sha256.txt", "manifest-sha512.txt"):
        assert (tmp_path / "second" / names).read_bytes() == (made / names).read_bytes()


def test_interrupted_and_run_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    build(tmp_path / "c")
    real, calls = bag.place, []

    def failing(*arguments: object, **named: object) -> bag.Digests:
        calls.append(arguments)
        if len(calls) == 9:
            raise KeyboardInterrupt
        return real(*arguments, **named)  # type: ignore[arg-type]

    monkeypatch.setattr(bag, "place", failing)
    with pytest.raises(KeyboardInterrupt):
        archive.handover(tmp_path / "c", tmp_path / "bag")
    assert archive.check(tmp_path / "bag") != []
    first = {p: p.stat().st_ino for p in (tmp_path / "bag/data").rglob("*") if p.is_file()}
    monkeypatch.setattr(bag, "place", real)
    assert not archive.handover(tmp_path / "c", tmp_path / "bag").already
    assert all(path.stat().st_ino == inode for path, inode in first.items())
    bagit.Bag(str(tmp_path / "bag")).validate()
    assert archive.handover(tmp_path / "c", tmp_path / "bag").already


def test_split_keeps_each_original_whole(tmp_path: Path) -> None:
    whole = build(tmp_path / "c", 6)
    limit = (
        2
        * sum(
            (tmp_path / "c" / made.file).stat().st_size
            for made in (*whole.originals[2].masters, *whole.originals[2].copies)
        )
        + 60_000
    )
    report = archive.handover(tmp_path / "c", tmp_path / "out", limit=groups.Limit(size=limit))
    assert len(report.bags) > 1
    seen = []
    for number, made in enumerate(report.bags, start=1):
        bagit.Bag(str(made)).validate()
        assert bag.read_info(made)["Bag-Count"] == f"{number} of {len(report.bags)}"
        assert (made / "data/manifest.json").is_file()
        here = [o.reference for o in whole.originals if (made / "data" / o.masters[0].file).is_file()]
        for original in whole.originals:
            there = [(made / "data" / made_.file).is_file() for made_ in (*original.masters, *original.copies)]
            assert all(there) or not any(there)
        seen += here
    assert seen == [original.reference for original in whole.originals]
    takeover.take_over([tmp_path / "out"], tmp_path / "again")
    assert checksums(tmp_path / "again") == checksums(tmp_path / "c")
    assert archive.check(tmp_path / "out") == []
    with pytest.raises(HandoverRefused, match="missing"):
        takeover.take_over(report.bags[:-1], tmp_path / "partly")
    assert not (tmp_path / "partly").exists()
    shutil.rmtree(report.bags[1])
    assert [finding.path for finding in archive.check(tmp_path / "out")] == [f"bag 2 of {len(report.bags)}"]
    assert archive.check(report.bags[0]) == []  # each bag is complete in itself


def test_bags_of_a_group_are_told_from_others(tmp_path: Path) -> None:
    """RFC 8493, 2.2.2: one identifier for the group, unique across the sender's content; "N of T" for the count."""
    build(tmp_path / "c", 5)
    by_two = archive.handover(tmp_path / "c", tmp_path / "two", limit=groups.limit_of("2"))
    assert [bag.read_info(made)["Bag-Count"] for made in by_two.bags] == ["1 of 3", "2 of 3", "3 of 3"]
    assert len({bag.read_info(made)["Bag-Group-Identifier"] for made in by_two.bags}) == 1
    by_four = archive.handover(tmp_path / "c", tmp_path / "four", limit=groups.limit_of("4"))
    with pytest.raises(HandoverRefused, match="another hand-over"):
        takeover.take_over([by_two.bags[0], by_four.bags[1]], tmp_path / "mixed")
    assert archive.handover(tmp_path / "c", tmp_path / "two", limit=groups.limit_of("2")).already


@pytest.mark.parametrize("text", ["", "0", "-3", "1.5", "five", "3 PB", "0GB", "4 GB each"])
def test_a_limit_that_is_none_is_refused(text: str) -> None:
    with pytest.raises(WrongUse, match="limit"):
        groups.limit_of(text)


def test_sizes_in_decimal_and_binary_units() -> None:
    """IEC 80000-13: kilo is 1000, kibi is 1024."""
    assert groups.limit_of("4 GB").size == 4_000_000_000
    assert groups.limit_of("4GiB").size == 4 * 1024**3
    assert groups.limit_of("1.5tb").size == 1_500_000_000_000


def test_hard_links_share_the_bytes(tmp_path: Path) -> None:
    whole = build(tmp_path / "c", 1)
    archive.handover(tmp_path / "c", tmp_path / "bag", link=True)
    file = whole.originals[0].masters[0].file
    assert (tmp_path / "c" / file).stat().st_ino == (tmp_path / "bag/data" / file).stat().st_ino
    bagit.Bag(str(tmp_path / "bag")).validate()


def test_a_changed_or_missing_master_is_refused(tmp_path: Path) -> None:
    whole = build(tmp_path / "c", 2)
    master = tmp_path / "c" / whole.originals[0].masters[0].file
    content = master.read_bytes()
    master.write_bytes(content[:-1] + bytes([content[-1] ^ 1]))
    with pytest.raises(HandoverRefused, match="no longer match"):
        archive.handover(tmp_path / "c", tmp_path / "bag")
    assert not bag.is_finished(tmp_path / "bag")
    master.unlink()
    with pytest.raises(HandoverRefused, match="not there"):
        archive.handover(tmp_path / "c", tmp_path / "bag")


def test_unsuitable_targets_are_refused(tmp_path: Path) -> None:
    build(tmp_path / "c", 1)
    (tmp_path / "full").mkdir()
    (tmp_path / "full/mine.txt").write_text("keep")
    (tmp_path / "file").write_text("keep")
    for target in (
        tmp_path / "c",
        tmp_path / "c/masters",
        tmp_path / "c/a/bag",
        tmp_path,
        tmp_path / "full",
        tmp_path / "file",
    ):
        with pytest.raises(WrongUse):
            archive.handover(tmp_path / "c", target)
    assert (tmp_path / "full/mine.txt").read_text() == "keep"


def test_what_was_made_to_leave_is_no_part_of_the_collection(tmp_path: Path) -> None:
    """A site and a bag may lie in the collection's own folder, as in the demo; the next bag holds neither."""
    build(tmp_path / "c", 2)
    before = checksums(tmp_path / "c")
    publish(tmp_path / "c", tmp_path / "c/site")
    archive.handover(tmp_path / "c", tmp_path / "c/bag")
    archive.handover(tmp_path / "c", tmp_path / "out")
    payload = {p: d for p, d in checksums(tmp_path / "out/data").items() if not p.startswith("metadata/")}
    assert payload == before
    assert archive.check(tmp_path / "c/bag") == []


def test_a_damaged_bag_is_not_taken_over(handed: tuple[Path, Path, Manifest], tmp_path: Path) -> None:
    _, made, whole = handed
    shutil.copytree(made, tmp_path / "bag")
    victim = tmp_path / "bag/data" / whole.originals[0].masters[0].file
    victim.chmod(0o644)
    victim.write_bytes(b"x" + victim.read_bytes()[1:])
    with pytest.raises(HandoverRefused, match="finding"):
        takeover.take_over([tmp_path / "bag"], tmp_path / "new")
    assert not (tmp_path / "new").exists()
    with pytest.raises(WrongUse, match="not empty"):
        takeover.take_over([made], tmp_path / "bag")


def test_paths_that_lead_out_are_findings(handed: tuple[Path, Path, Manifest], tmp_path: Path) -> None:
    shutil.copytree(handed[1], tmp_path / "bag")
    listing = tmp_path / "bag/manifest-sha256.txt"
    listing.write_text(listing.read_text() + f"{'0' * 64}  data/../../secret\n")
    assert any(finding.what == "leads out of the bag" for finding in bag.check(tmp_path / "bag"))


@pytest.mark.parametrize("path", ["data/a%0Ab", "data/100%.txt", "data/ü\r\n.tif"])
def test_paths_in_manifests(path: str) -> None:
    """RFC 8493, 2.1.3: LF, CR and % are percent-encoded, nothing else."""
    assert bag.decode_path(bag.encode_path(path)) == path
    assert "\n" not in bag.encode_path(path)


def test_formats_have_the_registry_s_identifiers() -> None:
    """PRONOM signature release 109, read in the registry's own file."""
    known = {"tif": "fmt/353", "png": "fmt/13", "json": "fmt/817", "xml": "fmt/101", "csv": "x-fmt/18"}
    assert {name: formats.format_of(f"a/b.{name.upper()}").pronom for name in known} == known
    assert formats.format_of("x.strange").media_type == "application/octet-stream"


def test_the_letter_is_plain_and_true(handed: tuple[Path, Path, Manifest]) -> None:
    _, made, _ = handed
    text = (made / "README.txt").read_text("utf-8")
    assert max(map(len, text.splitlines())) < 130
    for line in text.splitlines():
        if line.startswith("  data/") and "metadata" not in line and "where there are any" not in line:
            assert (made / line.split()[0].rstrip("/")).exists(), line
    assert paths.MANIFEST in text
