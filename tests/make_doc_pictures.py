"""The pictures in README.md and docs/: before and after, side by side, from a finished demo collection.

python tests/make_doc_pictures.py demo docs/pictures
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import numpy as np

from surrogate.copies import make
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
        before, _ = make.from_recipe(recipe.model_copy(update={"steps": []}), master)
        after, _ = make.from_recipe(recipe, master)
        one, two = scaled(before), scaled(after)
        sheet = np.full((one.shape[0], one.shape[1] + GAP_PX + two.shape[1], 3), 255, dtype=np.uint8)
        sheet[:, : one.shape[1]] = one
        sheet[:, -two.shape[1] :] = two
        jpeg(sheet, target / f"{name}.jpg", quality=88, ppi=None)


if __name__ == "__main__":
    main()
