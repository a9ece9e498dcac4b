"""Numbers as they are given: series by letter, never twice, clashes explained, numbers of a register kept exactly."""

from __future__ import annotations

import json
import multiprocessing
import shutil
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest
import skimage.data
from PIL import Image

from surrogate.cli import main
from surrogate.collection import register
from surrogate.collection.catalogue import open_catalogue
from surrogate.collection.numbering import Pattern
from surrogate.collection.settings import Settings
from surrogate.errors import ScanSetAside
from surrogate.records import Kind, Master, Side

PICTURE = Image.fromarray(skimage.data.chelsea()).resize((150, 100))


def settings(reference: str, letters: dict[str, str] | None = None) -> Settings:
    return Settings.model_validate(
        {"collection": {"reference": reference, "year": 2014, "accession": 19}, "letters": letters or {}}
    )


def given(folder: Path, rules: Settings, kinds: list[Kind]) -> list[str]:
    pattern = Pattern.parse(rules.collection.reference)
    with open_catalogue(folder) as catalogue, catalogue.transaction():
        return [register.give_next(catalogue, rules, pattern, kind) for kind in kinds]


def master(side: Side, scanned_as: str) -> Master:
    return Master(
        side=side, file="", sha256=scanned_as, bytes=1, width=1, height=1, bits=8, ppi=None, profile=None,
        scanned_as=scanned_as,
    )  # fmt: skip


def test_three_parts_and_plain_running_numbers(tmp_path: Path) -> None:
    rules = settings("{year}.{accession:03}.{item:04}")
    assert given(tmp_path, rules, [Kind.SILVER_PRINT] * 2) == ["2014.019.0001", "2014.019.0002"]
    assert given(tmp_path, settings("{item:05}"), [Kind.SILVER_PRINT] * 2) == ["00001", "00002"]
    assert given(tmp_path, rules, [Kind.NEGATIVE]) == ["2014.019.0003"]


def test_one_series_for_prints_and_one_for_negatives(tmp_path: Path) -> None:
    rules = settings("{letter}{item:04}", {"silver-print": "P", "colour-print": "P", "negative": "N"})
    kinds = [Kind.SILVER_PRINT, Kind.NEGATIVE, Kind.COLOUR_PRINT, Kind.NEGATIVE, Kind.DOCUMENT, Kind.SILVER_PRINT]
    assert given(tmp_path, rules, kinds) == ["P0001", "N0001", "P0002", "N0002", "0001", "P0003"]


def test_a_number_given_by_hand_is_counted_on_from(tmp_path: Path) -> None:
    rules = settings("{year}.{accession:03}.{item:04}")
    pattern = Pattern.parse(rules.collection.reference)
    with open_catalogue(tmp_path) as catalogue, catalogue.transaction():
        register.give_stated(catalogue, pattern, "2014.019.0041")
        register.give_stated(catalogue, pattern, "GB 0074 ACC/1234/5/6")
    assert given(tmp_path, rules, [Kind.UNKNOWN]) == ["2014.019.0042"]


def test_never_again_after_a_deletion(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    scans, collection = tmp_path / "scans", tmp_path / "c"
    scans.mkdir()
    for place in range(3):
        PICTURE.rotate(90 * place, expand=True).save(scans / f"{'abc'[place]}.png")
    assert main(["process", str(scans), "--collection", str(collection), "--workers", "1"]) == 0
    # Somebody throws the last original out of the collection, files and rows and all.
    numbers = references(collection)
    shutil.rmtree(collection / "masters")
    shutil.rmtree(collection / "copies")
    database = sqlite3.connect(collection / "catalogue.sqlite")
    for table in ("originals", "masters", "copies", "conditions", "captions"):
        database.execute(f"DELETE FROM {table}")  # noqa: S608  (names above)
    database.execute("DELETE FROM sources")
    database.commit()
    database.close()
    (collection / "captions.csv").unlink()
    PICTURE.rotate(270, expand=True).save(scans / "d.png")
    for old in "abc":
        (scans / f"{old}.png").unlink()
    main(["process", str(scans), "--collection", str(collection), "--workers", "1"])
    capsys.readouterr()
    assert references(collection) == [numbers[-1][:-1] + "4"]


def references(collection: Path) -> list[str]:
    manifest = json.loads((collection / "manifest.json").read_text(encoding="utf-8"))
    return [one["reference"] for one in manifest["originals"]]


def _give_many(folder: str, count: int) -> list[str]:
    rules = settings("{year}.{accession:03}.{item:04}")
    return [given(Path(folder), rules, [Kind.UNKNOWN])[0] for _ in range(count)]


def test_two_processes_at_one_register(tmp_path: Path) -> None:
    """Each takes its numbers in transactions of its own, at the same time."""
    with open_catalogue(tmp_path):
        pass
    with multiprocessing.get_context("spawn").Pool(2) as pool:
        lists = pool.starmap(_give_many, [(str(tmp_path), 40)] * 2)
    numbers = [number for one in lists for number in one]
    assert len(set(numbers)) == 80
    assert max(numbers) == "2014.019.0080"


def test_two_commands_at_the_same_moment(tmp_path: Path) -> None:
    """The second waits for nobody: it says who works there. Run again, all are in and no number came twice."""
    folders = [tmp_path / "one", tmp_path / "two"]
    for place, folder in enumerate(folders):
        folder.mkdir()
        for scan in range(3):
            PICTURE.rotate(60 * place + 20 * scan, expand=True).save(folder / f"{folder.name} {'xyz'[scan]}.png")
    line = [sys.executable, "-m", "surrogate", "process", "--collection", str(tmp_path / "c"), "--workers", "1"]
    running = [
        subprocess.Popen([*line, str(folder)], stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
        for folder in folders
    ]
    told = [process.communicate(timeout=200)[1] for process in running]
    assert {process.returncode for process in running} <= {0, 2}
    for process, words in zip(running, told, strict=True):
        if process.returncode == 2:
            assert "is in use by `surrogate process`" in words
    for folder in folders:
        assert subprocess.run([*line, str(folder)], capture_output=True, check=False).returncode == 0
    manifest = json.loads((tmp_path / "c" / "manifest.json").read_text(encoding="utf-8"))
    assert len({one["reference"] for one in manifest["originals"]}) == 6
    assert len({one["masters"][0]["sha256"] for one in manifest["originals"]}) == 6


def test_a_clash_names_both_files(tmp_path: Path) -> None:
    pattern = Pattern.parse("{year}.{item}")
    with open_catalogue(tmp_path) as catalogue, catalogue.transaction():
        register.give_stated(catalogue, pattern, "2014.1-2")
        catalogue.put_master("2014.1-2", master(Side.RECTO, "the mill.tif"), complete=True)
        with pytest.raises(ScanSetAside, match=r"2014\.1-2 already belongs to the mill\.tif \(recto\).*the ferry\.tif"):
            register.refuse_clash(catalogue, "2014.1-2", Side.RECTO, "the ferry.tif")
        # Another number whose files would lie under the same names, also on disks that know no capitals.
        with pytest.raises(ScanSetAside, match=r"same file name \(2014-1-2\) as 2014\.1-2 of the mill\.tif.*the ferry"):
            register.refuse_clash(catalogue, "2014.1.2", Side.RECTO, "the ferry.tif")
        register.refuse_clash(catalogue, "2014.1-2", Side.VERSO, "the mill back.tif")
        register.refuse_clash(catalogue, "2014.3", Side.RECTO, "the ferry.tif")


#: Numbers as registers have them. Forms: DACS 2.1; SPECTRUM; three-part numbers; others common practice, no source.
REGISTERED = ["GB 0074 ACC/1234/5/6", "1978.10.3b", "E2561.1", "00042", "P.14-1921", "Nº 7", "Inv. 12/34 (a)"]


def test_numbers_of_a_register_are_kept_exactly(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    scans = tmp_path / "scans"
    scans.mkdir()
    rows = ["file,reference"]
    for place, number in enumerate(REGISTERED):
        PICTURE.rotate(17 * place, expand=True).save(scans / f"{chr(97 + place)}.png")
        rows.append(f'{chr(97 + place)}.png,"{number}"')
    (tmp_path / "sheet.csv").write_text("\n".join(rows), encoding="utf-8")
    arguments = ["process", scans, "--collection", tmp_path / "c", "--captions", tmp_path / "sheet.csv"]
    assert main([*map(str, arguments), "--workers", "1"]) == 0
    capsys.readouterr()
    assert sorted(references(tmp_path / "c")) == sorted(REGISTERED)
    copy = next((tmp_path / "c" / "copies").rglob("00042_r_viewing.jpg"))
    exiftool = ["exiftool", "-s3", "-XMP-dc:Identifier", str(copy)]
    assert subprocess.run(exiftool, capture_output=True, text=True, check=True).stdout.strip() == "00042"


@pytest.mark.parametrize(
    ("written", "told"),
    [
        ('[collection]\nreference = "photo"\n', "has no {item}"),
        ('[collection]\nreference = "{item}{year}"\nyear = 2014\n', "does not end with {item}"),
        ('[collection]\nreference = "{year}.{item}"\n', "needs the year"),
        ('[collection]\nreference = "{accession}.{item}"\naccession = 0\n', "accession of a reference number must be"),
        ("[collection]\nyear = 14\n", "must be 1000 to 9999"),
        ('[collection]\nreference = "{letter}{item}"\n[letters]\nnegative = "N1"\n', "letter of negative"),
        ('[collection]\nreference = "{letter}{item}"\n[letters]\nslide = "S"\n', "no kind “slide”"),
    ],
)
@pytest.mark.parametrize("more", [[], ["--dry-run"]])
def test_wrong_rules_are_refused_in_one_sentence(
    written: str, told: str, more: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "scans").mkdir()
    PICTURE.save(tmp_path / "scans" / "a.png")
    (tmp_path / "c").mkdir()
    (tmp_path / "c" / "collection.toml").write_text(written, encoding="utf-8")
    assert main(["process", str(tmp_path / "scans"), "--collection", str(tmp_path / "c"), *more]) == 2
    said = capsys.readouterr().err
    assert told in said
    assert len(said.strip().splitlines()) == 1
    assert [path.name for path in (tmp_path / "c").iterdir()] == ["collection.toml"]
