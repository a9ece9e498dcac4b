"""The pictures in README.md and docs/ from a finished demo collection: before and after, side by side; sheets of paper.

python tests/make_doc_pictures.py demo docs/pictures
"""

from __future__ import annotations

import json
import shutil
import sys
import tempfile
from pathlib import Path

import numpy as np
from copies_words import rendered
from PIL import Image

from surrogate.copies import make
from surrogate.copies.contact_sheet import contact_sheet
from surrogate.copies.frame import frame
from surrogate.imaging.encode import jpeg
from surrogate.recovery.recipe import Recipe

#: Beginning of the scan's name, use and side of the copy, name of the picture.
SHOWN = (
    ("market stall", "viewing", "recto", "stall"),
    ("market stall", "reading", "verso", "stall_back"),
    ("scan0003", "viewing", "recto", "chapel"),
    ("choir", "viewing", "recto", "clipping"),
    ("neg_022", "viewing", "recto", "negative"),
    ("Letter", "reading", "recto", "letter"),
)
HEIGHT_PX = 420
GAP_PX = 12


def scaled(pixels: np.ndarray) -> np.ndarray:
    factor = HEIGHT_PX / pixels.shape[0]
    return make.reduced(pixels, round(max(pixels.shape[:2]) * min(1.0, factor)))


def sheets(folder: Path, target: Path) -> None:
    """The framing sheet, its check ruler and a contact sheet, as PDFium draws them."""
    with tempfile.TemporaryDirectory() as name:
        copy = Path(shutil.copytree(folder, Path(name) / "collection"))
        manifest = json.loads((copy / "manifest.json").read_text(encoding="utf-8"))
        manifest["collection"]["name"] = "Hollinmere Reading Room"
        (copy / "manifest.json").write_text(json.dumps(manifest), encoding="utf-8")
        originals = manifest["originals"]
        stall = next(each for each in originals if each["masters"][0]["scanned_as"].startswith("market stall"))
        (made,) = frame(copy, [stall["reference"]], frame="5x7in").frames
        pdf = (copy / made.pdf).read_bytes()
        png(rendered(pdf, 1, 80), target / "framing_sheet.png")
        foot = rendered(pdf, 1, 144)
        top, bottom, right = (round(mm / 25.4 * 144) for mm in (297 - 79, 297 - 54, 150))
        png(foot[top:bottom, 60:right], target / "check_ruler.png")
        png(rendered(contact_sheet(copy).read_bytes(), 0, 80), target / "contact_sheet.png")


def png(grey: np.ndarray, file: Path) -> None:
    Image.fromarray(grey).quantize(16).save(file, optimize=True)


def main() -> None:
    folder, target = Path(sys.argv[1]), Path(sys.argv[2])
    target.mkdir(parents=True, exist_ok=True)
    manifest = json.loads((folder / "manifest.json").read_text(encoding="utf-8"))
    for start, use, side, name in SHOWN:
        copy = next(
            copy
            for original in manifest["originals"]
            for copy in original["copies"]
            if original["masters"][0]["scanned_as"].startswith(start) and (copy["use"], copy["side"]) == (use, side)
        )
        recipe = Recipe.model_validate_json((folder / copy["recipe"]).read_bytes())
        master = folder / recipe.master
        before, _ = make.from_recipe(recipe, master, None, [])
        after, _ = make.from_recipe(recipe, master, None, make.playable(recipe.steps, folder))
        one, two = scaled(before), scaled(after)
        sheet = np.full((one.shape[0], one.shape[1] + GAP_PX + two.shape[1], 3), 255, dtype=np.uint8)
        sheet[:, : one.shape[1]] = one
        sheet[:, -two.shape[1] :] = two
        jpeg(sheet, target / f"{name}.jpg", quality=88, ppi=None)
    sheets(folder, target)


if __name__ == "__main__":
    main()
