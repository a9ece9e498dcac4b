"""Write `sample_scans/`: what a volunteer of an invented lakeside village brings in on a memory stick.

    python tests/make_sample_scans.py [FOLDER]

Everything is drawn from seeds and from the free photographs and fonts beside `simulate/`, so the folder can be made
again at any time. `truth` tells how the originals looked when they were new.
"""

import csv
import io
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import tifffile
from PIL import Image as PillowImage

sys.path.insert(0, str(Path(__file__).parent))
from simulate import scenes, village
from simulate.colorimetry import (
    ROMM_CURVE,
    ROMM_TO_XYZ,
    SRGB_CURVE,
    SRGB_TO_XYZ_D50,
    matrix_profile,
    to_romm16,
)
from simulate.pictures import PICTURES
from simulate.staging import Scene, Truth, generator
from simulate.tone import Image, to_codes8

FOLDER = Path(__file__).parents[1] / "sample_scans"

DUPLICATE = ("scan0007.jpg", "scan0007 (1).jpg")
TRUNCATED = "scan0011.jpg"
NOT_A_PICTURE = "boat shed.tif"
TURNED = "IMG_2041.JPG"

Writer = Callable[[Path, Image, int], None]


def _jpeg(quality: int) -> Writer:
    def write(path: Path, light: Image, ppi: int) -> None:
        PillowImage.fromarray(to_codes8(light)).save(path, "JPEG", quality=quality, dpi=(ppi, ppi))

    return write


def _turned_jpeg(path: Path, light: Image, ppi: int) -> None:
    """Stored lying on its side; tag 0x0112 = 6 (turn 90 degrees clockwise to show; Exif 2.32)."""
    tags = PillowImage.Exif()
    tags[0x0112] = 6
    tags[0x0132] = "2019:06:23 22:14:05"
    stored = PillowImage.fromarray(np.ascontiguousarray(np.rot90(to_codes8(light))))
    stored.save(path, "JPEG", quality=90, dpi=(ppi, ppi), exif=tags)


def _cut_short_jpeg(path: Path, light: Image, ppi: int) -> None:
    """The first 55 % of the bytes: the copy to the memory stick was broken off."""
    whole = io.BytesIO()
    PillowImage.fromarray(to_codes8(light)).save(whole, "JPEG", quality=90, dpi=(ppi, ppi))
    path.write_bytes(whole.getvalue()[: int(len(whole.getvalue()) * 0.55)])


def _tiff(path: Path, light: Image, ppi: int) -> None:
    profile = matrix_profile("sRGB IEC 61966-2-1", SRGB_TO_XYZ_D50, SRGB_CURVE)
    picture = PillowImage.fromarray(to_codes8(light))
    picture.save(path, "TIFF", compression="tiff_lzw", dpi=(ppi, ppi), icc_profile=profile, tiffinfo={317: 2})


def _grey_tiff(path: Path, light: Image, ppi: int) -> None:
    codes = to_codes8(light)[..., 1]
    PillowImage.fromarray(codes).save(path, "TIFF", compression="tiff_lzw", dpi=(ppi, ppi), tiffinfo={317: 2})


def _romm_tiff(path: Path, light: Image, ppi: int) -> None:
    """16 bits in the wide space of ISO 22028-2, with its profile inside."""
    tifffile.imwrite(
        path,
        to_romm16(light),
        photometric="rgb",
        compression="zlib",
        predictor=True,
        resolution=(ppi, ppi),
        resolutionunit="INCH",
        metadata=None,
        software="",
        iccprofile=matrix_profile("ROMM RGB", ROMM_TO_XYZ, ROMM_CURVE),
    )


@dataclass(frozen=True)
class Sample:
    """One scan: its file name, what lay on the glass, how the file was written, and at how many pixels per inch."""

    file: str
    scene: Scene
    write: Writer
    ppi: int


SAMPLES: tuple[Sample, ...] = (
    Sample("market stall 1974_r.jpg", scenes.faded_print, _jpeg(90), 200),
    Sample("market stall 1974_v.jpg", scenes.pencilled_back, _jpeg(88), 200),
    Sample("scan0007.jpg", scenes.badly_faded_print, _jpeg(90), 200),
    Sample("Biscuit.jpg", scenes.unfaded_print, _jpeg(92), 300),
    Sample(TURNED, scenes.turned_print, _turned_jpeg, 200),
    Sample("forget-me-nots_16bit.tif", scenes.wide_gamut_print, _romm_tiff, 300),
    Sample("scan0003.jpg", scenes.faded_silver_print, _jpeg(90), 240),
    Sample("Reading Room 1911 on its mount.jpg", scenes.mounted_silver_print, _jpeg(88), 200),
    Sample("Turret house.tif", scenes.sepia_print, _tiff, 200),
    Sample("neg_014.tif", scenes.black_and_white_negative, _grey_tiff, 320),
    Sample("neg_022.jpg", scenes.colour_negative, _jpeg(92), 700),
    Sample("choir outing clipping.jpg", scenes.clipping, _jpeg(88), 200),
    Sample("harvest show, newspaper.jpg", scenes.halftone_picture, _jpeg(86), 300),
    Sample("Letter from Ada 9-3-1936.jpg", scenes.letter, _jpeg(88), 150),
    Sample("album p12.jpg", scenes.album_page, _jpeg(88), 150),
    Sample("target.jpg", scenes.colour_target, _jpeg(95), 200),
    Sample(TRUNCATED, scenes.spoilt_print, _cut_short_jpeg, 200),
)

COLUMNS = (
    "file", "reference", "side", "kind", "title", "caption", "date", "people", "place", "inscription", "creator",
    "rights", "box", "folder", "enclosure", "lot", "strength", "tone", "access", "approved", "notes",
)  # fmt: skip

CAPTIONS: tuple[dict[str, str], ...] = (
    {
        "file": "market stall 1974_r",
        "side": "recto",
        "title": "Our stall at the harvest show",
        "caption": "The stall of the lower village, with the leeks that took the second prize.",
        "date": "1974-09",
        "place": "Hollinmere, boat shed",
        "inscription": " / ".join(village.PENCILLED),
        "box": "1",
        "folder": "2",
        "enclosure": "sleeve",
    },
    {"file": "market stall 1974_v.jpg", "side": "verso", "notes": "in Ines's hand"},
    {
        "file": "scan0007.jpg",
        "title": "The lower lake from the quarry path",
        "caption": "Hung in the Reading Room window for years, hence the colour.",
        "date": "about 1971",
        "box": "1",
        "folder": "2",
        "notes": "frame thrown away",
    },
    {
        "file": "Biscuit.jpg",
        "title": "Biscuit",
        "caption": "The Reading Room cat, who was not allowed in.",
        "date": "2016",
    },
    {"file": "IMG_2041.JPG", "title": "Midsummer fire", "date": "2019-06-23", "place": "Hollinmere, the green"},
    {
        "file": "forget-me-nots_16bit",
        "title": "Forget-me-nots behind the boat shed",
        "creator": "Ines Quill",
        "rights": "CC BY 4.0",
    },
    {
        "file": "scan0003.jpg",
        "title": "Chapel in winter",
        "caption": "The trap is waiting for the organist; the second window had just been mended.",
        "date": "about 1952",
        "place": "Hollinmere",
        "box": "1",
        "folder": "1",
    },
    {
        "file": "Reading Room 1911 on its mount.jpg",
        "title": "The first Reading Room",
        "date": "1911",
        "place": "Hollinmere",
        "inscription": village.ON_THE_MOUNT,
        "box": "1",
        "folder": "1",
        "enclosure": "folder",
        "notes": "mount is brittle; lift with a card",
    },
    {
        "file": "Turret house",
        "title": "The turret house",
        "caption": "Toned brown by the photographer, as one did.",
        "date": "c. 1920",
    },
    {"file": "neg_014.tif", "title": "The ferry house in the flood", "date": "1936-03", "box": "2", "folder": "neg"},
    {"file": "neg_022.jpg", "date": "1980s", "box": "2", "folder": "neg", "notes": "which shore is this?"},
    {
        "file": "choir outing clipping.jpg",
        "title": "Choir outing ends in a borrowed hay cart",
        "date": "summer before the war",
        "people": "Tobias Fenn; Ada Quill",
        "box": "3",
    },
    {"file": "harvest show, newspaper.jpg", "title": "First prize for the Orre garden", "date": "1946?", "box": "3"},
    {
        "file": "Letter from Ada 9-3-1936.jpg",
        "title": "Letter to Tobias Fenn about the flood",
        "date": "1936-03-09",
        "people": "Ada Quill; Tobias Fenn; Marta Orre",
        "place": "Ferry House, Hollinmere",
        "creator": "Ada Quill",
        "box": "3",
        "folder": "letters",
        "access": "private",
    },
    {
        "file": "album p12.jpg",
        "kind": "album-page",
        "title": "Page 12 of the Orre album",
        "date": "1940s",
        "box": "4",
    },
    {"file": "target.jpg", "notes": "our scanner, lent by the school"},
)


def truth(*files: str) -> dict[str, tuple[Truth, ...]]:
    """How the originals looked when new, by file name, computed again; of all scans if none is named.

    Scans without a known truth (the broken file) are left out.
    """
    wanted = [sample for sample in SAMPLES if not files or sample.file in files]
    known = {sample.file: sample.scene(generator(sample.file)).truths for sample in wanted}
    return {file: truths for file, truths in known.items() if truths}


def write_all(folder: Path) -> None:
    """Write every sample scan, the caption sheet and the list of sources into `folder`."""
    folder.mkdir(parents=True, exist_ok=True)
    for sample in SAMPLES:
        scan = sample.scene(generator(sample.file))
        sample.write(folder / sample.file, scan.light, sample.ppi)
    (folder / DUPLICATE[1]).write_bytes((folder / DUPLICATE[0]).read_bytes())
    (folder / NOT_A_PICTURE).write_text(village.NOT_A_PICTURE, encoding="utf-8")
    with (folder / "captions.csv").open("w", encoding="utf-8-sig", newline="") as sheet:
        rows = csv.DictWriter(sheet, COLUMNS)
        rows.writeheader()
        rows.writerows(CAPTIONS)
    (folder / "SOURCES.md").write_text(_sources(), encoding="utf-8")


def _sources() -> str:
    rows = "\n".join(f"| {p.name} | {p.origin} | {p.author} | {p.licence} |" for p in PICTURES)
    return f"""# Where the sample scans come from

The scans are made by `tests/make_sample_scans.py`: free photographs, printed and aged by calculation. The village, its
people and everything that is said about the pictures are invented and have nothing to do with what the photographs
really show.

| picture | source | author | licence |
|---|---|---|---|
{rows}

Text is set in Old Standard TT, Caveat and La Belle Aurore (SIL Open Font License 1.1, see `tests/simulate/fonts`).
The values of the colour target are those of the dataset in `colour-science/colour` (BSD-3-Clause), edition after
November 2014.
The scans themselves may be used like the rest of this project.
"""


if __name__ == "__main__":
    write_all(Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER)
