"""A scanner's profile from the settings: target -> profile -> process -> copy, rebuilt to the same bytes.

The scanner is simulated: dyes of its filters that overlap, an exposure, a cast and a gamma of its own. Truth is the
picture before it was "scanned"; CIEDE2000 is scikit-image's; the profile is also looked at with LittleCMS (Pillow).
"""

from __future__ import annotations

import hashlib
import itertools
import json
import shutil
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest
import tifffile
from PIL import Image, ImageCms
from skimage.color import deltaE_ciede2000, rgb2lab

from surrogate import auditing, rebuilding
from surrogate.condition.target import profile
from surrogate.description.embed import embedder
from surrogate.errors import CollectionUnusable
from surrogate.imaging.encode import srgb_profile
from surrogate.printing import frame
from surrogate.processing import ProcessReport, process
from surrogate.rehearsing import rehearse
from tests.simulate.device import ORDINARY
from tests.simulate.target import card
from tests.simulate.tone import decode_srgb

SAMPLES = Path(__file__).parents[1] / "sample_scans"
NAMES = ("print one.tif", "print two.tif")


def scanned(linear: np.ndarray) -> np.ndarray:
    """Codes (H, W, 3) uint16 that the scanner gives for linear sRGB light."""
    return np.rint(ORDINARY.codes(linear.astype(np.float64)) * 65535).astype(np.uint16)


@pytest.fixture(scope="module")
def walk(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path, dict[str, np.ndarray]]:
    """(folder of scans, collection with `scanner.icc` in its settings, true sRGB codes of each scan)."""
    folder = tmp_path_factory.mktemp("session")
    bed = np.full((460, 600, 3), 0.5, np.float32)
    target = card(60, 10)
    bed[60 : 60 + target.shape[0], 60 : 60 + target.shape[1]] = target
    tifffile.imwrite(folder / "target.tif", scanned(bed), photometric="rgb")
    content, _ = profile(folder / "target.tif", datetime(2026, 11, 26, 9, 0, 0))  # noqa: DTZ001
    truth = {}
    scans = folder / "scans"
    scans.mkdir()
    for name, sample in zip(NAMES, ("market stall 1974_r.jpg", "scan0003.jpg"), strict=True):
        with Image.open(SAMPLES / sample) as opened:
            small = opened.convert("RGB")
            small.thumbnail((360, 360))
        truth[name] = np.asarray(small)
        tifffile.imwrite(scans / name, scanned(decode_srgb(truth[name] / 255)), photometric="rgb")
    # a scan that says itself what its numbers mean
    with Image.open(SAMPLES / "Biscuit.jpg") as opened:
        opened.thumbnail((300, 300))
        opened.convert("RGB").save(scans / "told.jpg", icc_profile=srgb_profile())
    collection = folder / "collection"
    collection.mkdir()
    (collection / "scanner.icc").write_bytes(content)
    settle(collection, '"*" = "scanner.icc"')
    process([scans], collection, workers=1)
    return scans, collection, truth


def settle(collection: Path, line: str) -> None:
    (collection / "collection.toml").write_text(
        '[collection]\nyear = 2026\n[scan]\nkind = "colour-print"\n[copies]\ncrop = false\nstrength = "none"\n'
        f"[profiles]\n{line}\n",
        encoding="utf-8",
    )


def originals(collection: Path) -> dict[str, dict]:
    found = json.loads((collection / "manifest.json").read_text(encoding="utf-8"))["originals"]
    return {one["masters"][0]["scanned_as"]: one for one in found}


def copy_of(collection: Path, one: dict) -> tuple[Path, dict]:
    copy = next(each for each in one["copies"] if each["use"] == "viewing")
    return collection / copy["file"], json.loads((collection / copy["recipe"]).read_text(encoding="utf-8"))


def off(file: Path, truth: np.ndarray) -> float:
    seen = np.asarray(Image.open(file).convert("RGB"))
    return float(deltaE_ciede2000(rgb2lab(seen), rgb2lab(truth)).mean())


def again(scans: Path, collection: Path) -> ProcessReport:
    return process([scans], collection, workers=1)


def test_copies_are_closer_to_the_truth(walk: tuple[Path, Path, dict[str, np.ndarray]], tmp_path: Path) -> None:
    scans, collection, truth = walk
    without = tmp_path / "without"
    without.mkdir()
    settle(without, "")
    again(scans, without)
    for name in NAMES:
        with_profile = off(copy_of(collection, originals(collection)[name])[0], truth[name])
        # all but what JPEG costs the true picture by itself (Pillow, the same quality) is put right
        Image.fromarray(truth[name]).save(tmp_path / "true.jpg", quality=88)
        assert with_profile == pytest.approx(off(tmp_path / "true.jpg", truth[name]), abs=0.1)
        assert with_profile < 0.4 * off(copy_of(without, originals(without)[name])[0], truth[name])


def test_records_say_which_profile(walk: tuple[Path, Path, dict[str, np.ndarray]]) -> None:
    _, collection, _ = walk
    found = originals(collection)
    given = found[NAMES[0]]["masters"][0]["given_profile"]
    kept = collection / given["file"]
    assert kept.name == f"{given['sha256'][:16]}.icc"
    assert hashlib.sha256(kept.read_bytes()).hexdigest() == given["sha256"]
    assert given["name"] == ImageCms.getProfileDescription(ImageCms.getOpenProfile(str(kept))).strip()
    copy, recipe = copy_of(collection, found[NAMES[0]])
    assert recipe["given_profile"] == given
    assert recipe["input_profile"] == given["name"]
    words = json.dumps(embedder().read(copy), default=str, ensure_ascii=False)
    assert f"scanner profile “{given['name']}”" in words
    sidecar = (collection / found[NAMES[0]]["masters"][0]["file"]).with_suffix(".xmp")
    assert given["file"] in sidecar.read_text(encoding="utf-8")
    assert f"{given['sha256']}  {given['file']}" in (collection / "checksums.sha256").read_text(encoding="utf-8")
    # a profile is not missing then, so the interval is not widened for it
    assert "no colour profile" not in found[NAMES[0]]["condition"][0]["fade"]["note"]
    # and what the scan says itself counts
    assert found["told.jpg"]["masters"][0]["given_profile"] is None
    assert copy_of(collection, found["told.jpg"])[1]["given_profile"] is None


def test_rebuild_gives_the_same_bytes(walk: tuple[Path, Path, dict[str, np.ndarray]], tmp_path: Path) -> None:
    collection = Path(shutil.copytree(walk[1], tmp_path / "collection"))
    (collection / "scanner.icc").unlink()  # the collection's own copy is enough
    frame(collection, [originals(collection)[NAMES[0]]["reference"]], frame="5x7in")
    report = rebuilding.rebuild(collection)
    assert report.exit_status == 0
    assert [each.file for each in report.copies if each.file.endswith("_print.tif")]
    assert auditing.audit(collection).findings == []
    kept = next((collection / "profiles").iterdir())
    content = kept.read_bytes()
    for harm, said in ((None, "is missing"), (content[:-2] + b"??", "has changed")):
        kept.unlink(missing_ok=True)
        if harm is not None:
            kept.write_bytes(harm)
        report = rebuilding.rebuild(collection)
        problems = {each.problem for each in report.copies if not each.identical}
        assert len(problems) == 1
        assert f"The scanner profile profiles/{kept.name} {said}." in problems.pop()
        assert [each.file for each in auditing.audit(collection).findings] == [f"profiles/{kept.name}"]


def test_another_profile_reaches_the_copies_and_nothing_else(
    walk: tuple[Path, Path, dict[str, np.ndarray]], tmp_path: Path
) -> None:
    scans, collection = walk[0], Path(shutil.copytree(walk[1], tmp_path / "collection"))
    assert again(scans, collection).updated == []
    before = originals(collection)
    other = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    (collection / "other.icc").write_bytes(other)
    settle(collection, '"print two*" = "other.icc"\n"*" = "scanner.icc"')
    assert again(scans, collection).updated == [f"{before[NAMES[1]]['reference']} recto"]
    after = originals(collection)
    assert after[NAMES[1]]["masters"][0]["given_profile"] != before[NAMES[1]]["masters"][0]["given_profile"]
    for name, kept in itertools.product((NAMES[0], "told.jpg"), ("masters", "copies", "condition")):
        assert after[name][kept] == before[name][kept]
    settle(collection, "")
    assert len(again(scans, collection).updated) == 2
    assert originals(collection)[NAMES[1]]["masters"][0]["given_profile"] is None
    assert again(scans, collection).updated == []


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (None, "scanner.icc, which is not there"),
        (b"no profile" * 40, "which is no ICC profile"),
        (ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB")).tobytes(), "red, green and blue"),
        (srgb_profile()[:200], "damaged"),
    ],
)
def test_a_wrong_profile_is_one_sentence(tmp_path: Path, content: bytes | None, said: str) -> None:
    collection = tmp_path / "collection"
    collection.mkdir()
    settle(collection, '"*" = "scanner.icc"')
    if content is not None:
        (collection / "scanner.icc").write_bytes(content)
    for command in (again, lambda scans, folder: rehearse([scans], folder)):
        with pytest.raises(CollectionUnusable, match=said):
            command(SAMPLES, collection)
    assert not (collection / "masters").exists()


def test_pictures_that_are_no_longer_parts_leave_nothing(
    walk: tuple[Path, Path, dict[str, np.ndarray]], tmp_path: Path
) -> None:
    # copies of what was taken for parts of a page go with their recipes when it is one picture after all
    scans, collection = walk[0], Path(shutil.copytree(walk[1], tmp_path / "collection"))
    reference = originals(collection)[NAMES[0]]["reference"]
    header = "reference,side,file,part,x1,y1,x2,y2,x3,y3,x4,y4,confidence,note\n"
    parts = [f"{reference},recto,,{n},{x},9,{x + 90},9,{x + 90},200,{x},200,,\n" for n, x in ((1, 10), (2, 120))]
    (collection / "outlines.csv").write_text(header + "".join(parts), encoding="utf-8")
    again(scans, collection)
    assert len(list(collection.glob("copies/*/*_p*"))) == 4
    (collection / "outlines.csv").write_text(f"{header}{reference},recto,,0,,,,,,,,,,\n", encoding="utf-8")
    again(scans, collection)
    assert list(collection.glob("copies/*/*_p*")) + list(collection.glob("recipes/*/*_p*")) == []
    assert auditing.audit(collection).findings == []
