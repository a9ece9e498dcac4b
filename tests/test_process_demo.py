"""The main job on the sample scans: what process, audit and rebuild leave behind and say."""

from __future__ import annotations

import csv
import hashlib
import json
import shutil
import subprocess
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from PIL import Image

from surrogate import wording
from surrogate.auditing import audit
from surrogate.collection import plain
from surrogate.collection.files import sha256_of
from surrogate.collection.settings import Settings
from surrogate.demonstrating import demo
from surrogate.processing import ProcessReport, process
from surrogate.rebuilding import rebuild
from surrogate.records import Caption, Kind, Manifest, Original, Side, Strength, Use

SAMPLES = Path(__file__).parent.parent / "sample_scans"


@pytest.fixture(scope="session")
def manifest(demo_folder: Path) -> Manifest:
    return Manifest.model_validate_json((demo_folder / "manifest.json").read_bytes())


def by_scan(manifest: Manifest, name: str) -> int:
    return next(i for i, o in enumerate(manifest.originals) for m in o.masters if m.scanned_as.startswith(name))


def test_every_file_is_accounted_for(demo_run: tuple[Path, ProcessReport], manifest: Manifest) -> None:
    pictures = {p.name for p in SAMPLES.iterdir() if p.suffix.lower() in {".jpg", ".tif"}}
    taken = {m.scanned_as for o in manifest.originals for m in o.masters}
    aside = {a.file for a in manifest.set_aside}
    assert taken | aside == pictures
    assert not taken & aside
    assert demo_run[1].exit_status == 1
    reasons = " ".join(a.reason for a in manifest.set_aside)
    assert "text file" in reasons
    assert "breaks off" in reasons
    assert "same file" in reasons


def test_masters_are_the_scans_byte_for_byte_and_read_only(demo_folder: Path, manifest: Manifest) -> None:
    for original in manifest.originals:
        for master in original.masters:
            path = demo_folder / master.file
            scan = SAMPLES / master.scanned_as
            assert path.read_bytes() == scan.read_bytes()
            assert path.stat().st_mode & 0o222 == 0
            assert master.sha256 == hashlib.sha256(scan.read_bytes()).hexdigest()


def test_the_manifest_fits_its_schema_and_links_to_files(demo_folder: Path, manifest: Manifest) -> None:
    document = json.loads((demo_folder / "manifest.json").read_text())
    jsonschema.validate(document, json.loads((demo_folder / "manifest.schema.json").read_text()))
    assert document["schema"] == "surrogate-manifest/1"
    masters = {m.sha256 for o in manifest.originals for m in o.masters}
    for copy in (c for o in manifest.originals for c in o.copies):
        assert sha256_of(demo_folder / copy.file) == copy.sha256
        assert copy.master_sha256 in masters
        assert copy.recipe is None or (demo_folder / copy.recipe).is_file()
        with Image.open(demo_folder / copy.file) as picture:
            assert picture.size == (copy.width, copy.height)
            assert "icc_profile" in picture.info
    references = [o.reference for o in manifest.originals]
    assert references == sorted(references)


def test_front_and_back_are_one_original(manifest: Manifest) -> None:
    stall = manifest.originals[by_scan(manifest, "market stall")]
    assert [m.side for m in stall.masters] == [Side.RECTO, Side.VERSO]
    assert {(c.side, c.use) for c in stall.copies} >= {(Side.VERSO, Use.READING), (Side.RECTO, Use.VIEWING)}


def test_the_album_page_is_one_master_with_parts(manifest: Manifest) -> None:
    page = manifest.originals[by_scan(manifest, "album")]
    assert page.kind is Kind.ALBUM_PAGE
    assert len(page.masters) == 1
    assert {c.part for c in page.copies if c.use is Use.VIEWING} == {None, 1, 2, 3, 4}


def test_captions_reach_every_copy_for_a_second_reader(demo_folder: Path, manifest: Manifest) -> None:
    chapel = manifest.originals[by_scan(manifest, "scan0003")]
    assert chapel.date == "1952~"
    copy = next(c for c in chapel.copies if c.use is Use.VIEWING)
    told = subprocess.run(
        ["exiv2", "-PEIXkt", "print", str(demo_folder / copy.file)], capture_output=True, text=True, check=True
    ).stdout
    assert chapel.reference in told
    assert "Chapel in winter" in told
    assert "algorithmicallyEnhanced" in told
    assert chapel.masters[0].sha256 in told


def test_nothing_is_called_measured_that_was_not(manifest: Manifest) -> None:
    for original in manifest.originals:
        for condition in original.condition:
            if condition.fade.density_loss is None:
                assert condition.fade.grade == "not measurable"
                assert condition.fade.note


def test_a_second_run_changes_nothing(own_demo: Path) -> None:
    before = {p: p.stat().st_mtime_ns for p in own_demo.rglob("*") if p.is_file() and p.suffix != ".sqlite"}
    report = demo(own_demo, workers=1)
    after = {p: p.stat().st_mtime_ns for p in own_demo.rglob("*") if p.is_file() and p.suffix != ".sqlite"}
    changed = {p.name for p in before.keys() | after.keys() if before.get(p) != after.get(p)}
    assert changed <= {".held"}
    assert report.taken_in == []
    assert report.updated == []


def test_two_workers_give_the_same_bytes_as_one(demo_folder: Path, tmp_path: Path) -> None:
    demo(tmp_path / "demo", workers=2)
    ours = {p.relative_to(demo_folder): sha256_of(p) for p in demo_folder.rglob("*") if p.is_file()}
    theirs = {p.relative_to(tmp_path / "demo"): sha256_of(p) for p in (tmp_path / "demo").rglob("*") if p.is_file()}
    # the catalogue holds the time, and so do two of its tables in plain text
    ignored = {Path(name) for name in ("catalogue.sqlite", ".held", plain.HISTORY.file, plain.MEASUREMENTS.file)}
    assert {k: v for k, v in ours.items() if k not in ignored} == {k: v for k, v in theirs.items() if k not in ignored}


def test_rebuild_gives_the_same_bytes(own_demo: Path, manifest: Manifest) -> None:
    report = rebuild(own_demo)
    assert report.copies
    assert [c for c in report.copies if not c.identical] == []
    assert report.exit_status == 0


def test_audit_finds_what_was_done_to_files(own_demo: Path, manifest: Manifest) -> None:
    assert audit(own_demo).findings == []
    copy = own_demo / manifest.originals[0].copies[0].file
    copy.write_bytes(copy.read_bytes()[:-1] + b"\0")
    master = own_demo / manifest.originals[1].masters[0].file
    master.unlink()
    (own_demo / "masters" / "stranger.tif").touch()
    found = {f.file: f.problem for f in audit(own_demo).findings}
    assert "checksum" in found[manifest.originals[0].copies[0].file]
    assert found[manifest.originals[1].masters[0].file] == "is missing"
    assert "not in the catalogue" in found["masters/stranger.tif"]
    assert audit(own_demo, quick=True).exit_status == 1


def test_a_new_caption_rewrites_words_and_leaves_pixels(own_demo: Path, manifest: Manifest) -> None:
    sheet = own_demo / "captions.csv"
    with sheet.open(encoding="utf-8-sig", newline="") as handle:
        rows = list(csv.DictReader(handle))
    index = next(i for i, row in enumerate(rows) if row["title"] == "Biscuit")
    rows[index]["title"] = "Biscuit, the Reading Room’s cat"
    with sheet.open("w", encoding="utf-8", newline="") as handle:
        writer = csv.DictWriter(handle, rows[0].keys())
        writer.writeheader()
        writer.writerows(rows)
    before = manifest.originals[by_scan(manifest, "Biscuit")]
    with Image.open(own_demo / before.copies[0].file) as picture:
        pixels = picture.tobytes()
    report = process([SAMPLES], own_demo, captions=SAMPLES / "captions.csv", workers=1)
    assert report.updated == [f"{before.reference} recto"]
    after = Manifest.model_validate_json((own_demo / "manifest.json").read_bytes())
    changed = after.originals[by_scan(after, "Biscuit")]
    assert changed.title == "Biscuit, the Reading Room’s cat"
    copy_file = str(own_demo / changed.copies[0].file)
    with Image.open(copy_file) as picture:
        assert picture.tobytes() == pixels
    told = subprocess.run(["exiv2", "-PXt", "print", copy_file], capture_output=True, text=True, check=True).stdout
    assert "words changed after the copy was made" in told
    assert audit(own_demo).findings == []
    assert rebuild(own_demo, [changed.reference]).exit_status == 0
    manifest_now = (own_demo / "manifest.json").read_bytes()
    again = process([SAMPLES], own_demo, captions=SAMPLES / "captions.csv", workers=1)  # the same command once more
    assert again.updated == []
    assert (own_demo / "manifest.json").read_bytes() == manifest_now


def test_what_a_person_decides_about_one_original_changes_its_copies_and_nothing_else(
    own_demo: Path, manifest: Manifest
) -> None:
    wishes = {
        "market stall": {"strength": "leave alone"},
        "harvest show": {"strength": "gentle"},
        "scan0003": {"tone": "neutral"},
    }
    numbers = {manifest.originals[by_scan(manifest, name)].reference: cells for name, cells in wishes.items()}
    sheet = own_demo / "captions.csv"
    with sheet.open(encoding="utf-8-sig", newline="") as handle:
        rows = list(csv.DictReader(handle))
    for row in rows:
        if row["side"] == "recto":
            row.update(numbers.get(row["reference"], {}))
    with sheet.open("w", encoding="utf-8", newline="") as handle:
        writer = csv.DictWriter(handle, rows[0].keys())
        writer.writeheader()
        writer.writerows(rows)
    before = made_in(own_demo)
    report = process([SAMPLES], own_demo, workers=1)
    assert sorted(report.updated) == [f"{number} recto" for number in sorted(numbers)]
    after = made_in(own_demo)
    changed = {file for file in before if before[file] != after[file]}
    assert set(after) == set(before)
    assert {file.split("/")[-1].partition("_r")[0] for file in changed} == {n.replace(".", "-") for n in numbers}
    assert all("_r_" in file for file in changed)  # the back of the market stall is as it was

    now = Manifest.model_validate_json((own_demo / "manifest.json").read_bytes())
    stall, show, portrait = (now.originals[by_scan(now, name)] for name in wishes)
    viewing = next(c for c in stall.copies if c.use is Use.VIEWING and c.side is Side.RECTO)
    assert viewing.fidelity is not None
    assert viewing.fidelity.largest_gain == 1.0
    assert recipe_of(own_demo, stall)["steps"] == []
    assert recipe_of(own_demo, show)["strength"] == "gentle"
    assert "image tone set to neutral" in recipe_of(own_demo, portrait)["words"]


def made_in(folder: Path) -> dict[str, str]:
    """SHA-256 of every copy and recipe."""
    files = sorted((*folder.glob("copies/**/*.*"), *folder.glob("recipes/**/*.json")))
    return {str(file.relative_to(folder)): sha256_of(file) for file in files}


def recipe_of(folder: Path, original: Original) -> dict[str, Any]:
    """The recipe of the viewing copy of a front."""
    copy = next(c for c in original.copies if c.use is Use.VIEWING and c.side is Side.RECTO and c.part is None)
    return dict(json.loads((folder / (copy.recipe or "")).read_text()))


def test_settings_leave_alone_what_has_a_strength_of_its_own() -> None:
    standard, strong = (Settings.model_validate({"copies": {"strength": each}}) for each in ("standard", "strong"))
    for caption, same in ((Caption(strength=Strength.GENTLE), True), (Caption(), False)):
        digests = {
            wording.digest(wording.decisions(caption, each, Side.RECTO, (None, "picture"), None, None))
            for each in (standard, strong)
        }
        assert (len(digests) == 1) is same


def test_a_corrected_outline_is_followed_and_kept(own_demo: Path, manifest: Manifest) -> None:
    reference = manifest.originals[by_scan(manifest, "market stall")].reference
    sheet = own_demo / "outlines.csv"
    with sheet.open(encoding="utf-8-sig", newline="") as handle:
        rows = list(csv.DictReader(handle))
    row = next(row for row in rows if row["reference"] == reference and row["side"] == "recto")
    row.update({"x1": "100", "y1": "100", "x2": "500", "y2": "100", "x3": "500", "y3": "400", "x4": "100", "y4": "400"})
    with sheet.open("w", encoding="utf-8", newline="") as handle:
        writer = csv.DictWriter(handle, row.keys())
        writer.writeheader()
        writer.writerows(rows)
    for _ in range(2):  # the second run keeps what the first one followed
        process([SAMPLES], own_demo, workers=1)
        after = Manifest.model_validate_json((own_demo / "manifest.json").read_bytes())
        stall = after.originals[by_scan(after, "market stall")]
        viewing = next(c for c in stall.copies if c.use is Use.VIEWING and c.side is Side.RECTO)
        assert (viewing.width, viewing.height) == (400, 300)


def test_another_scan_of_the_same_picture_is_linked_and_kept(own_demo: Path, tmp_path: Path) -> None:
    (tmp_path / "again").mkdir()
    with Image.open(SAMPLES / "Biscuit.jpg") as picture:
        darker = picture.point(lambda code: code * 0.8).resize((picture.width * 2 // 3, picture.height * 2 // 3))
        darker.save(tmp_path / "again" / "cat rescanned.jpg", quality=90)
    report = process([tmp_path / "again"], own_demo, workers=1)
    assert len(report.taken_in) == 1
    new = report.taken_in[0].split()[0]
    after = Manifest.model_validate_json((own_demo / "manifest.json").read_bytes())
    biscuit = after.originals[by_scan(after, "Biscuit")]
    assert biscuit.same_picture_as == [new]
    assert next(o for o in after.originals if o.reference == new).same_picture_as == [biscuit.reference]


def test_words_that_a_scan_carries_are_taken_over_below_the_sheet(tmp_path: Path) -> None:
    (tmp_path / "scans").mkdir()
    for name in ("one.jpg", "two.jpg"):
        shutil.copy(SAMPLES / "Biscuit.jpg", tmp_path / "scans" / name)
        fields = ["-IPTC:ObjectName=Cat at the window", "-IPTC:By-line=M. Orre", f"-XMP-dc:Description=Seen in {name}"]
        subprocess.run(["exiftool", "-q", "-overwrite_original", *fields, tmp_path / "scans" / name], check=True)
    (tmp_path / "sheet.csv").write_text("file,title\ntwo.jpg,Biscuit\n", encoding="utf-8")
    process([tmp_path / "scans"], tmp_path / "c", captions=tmp_path / "sheet.csv", workers=1)
    found = Manifest.model_validate_json((tmp_path / "c" / "manifest.json").read_bytes()).originals
    assert [(o.title, o.creator, o.caption) for o in found] == [
        ("Cat at the window", "M. Orre", "Seen in one.jpg"),
        ("Biscuit", "M. Orre", "Seen in two.jpg"),
    ]
    assert "Cat at the window" in (tmp_path / "c" / "report.html").read_text()  # who said what
    assert "Cat at the window" in (tmp_path / "c" / "captions.csv").read_text()
