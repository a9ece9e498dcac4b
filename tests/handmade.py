"""A small collection built by hand, file by file as the contract lays it down, for the tests of what leaves it.

Nothing here goes through the pipeline: the rooms that read a collection are tested against its published form.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
from pathlib import Path
from typing import Any

from PIL import Image, ImageDraw

from surrogate.collection import paths
from surrogate.handover import manifest
from surrogate.records import (
    CollectionInfo,
    Condition,
    Copy,
    Fade,
    Fidelity,
    Grade,
    Kind,
    Location,
    Manifest,
    Master,
    Original,
    Priority,
    Region,
    SetAside,
    Side,
    Software,
    Stain,
    Use,
)

COLLECTION = CollectionInfo(
    name="Lindenau boat-builders' club",
    credit="Lindenau boat-builders' club",
    rights="Free to use with credit",
)
SOFTWARE = Software(name="surrogate", version="0.0.test")
WORDS = ["Contrast and colour were brought back by curves.", "Nothing was painted in."]

#: What people might type into a caption sheet, by accident or with intent.
HOSTILE = (
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "{{ 7*7 }}{% raw %}",
    '=HYPERLINK("http://example.org")',
    "]]></script><!--",
    "&amp;&lt; ümlaut “quotes” مرحبا 漢字 👩‍👩‍👧",
)


def picture(seed: int, width: int = 240, height: int = 160) -> Image.Image:
    """A drawing of hills and a sun that differs by seed."""
    image = Image.new("RGB", (width, height), (214, 205 - seed % 20, 184))
    draw = ImageDraw.Draw(image)
    draw.ellipse((20 + seed * 13 % 120, 15, 55 + seed * 13 % 120, 50), fill=(236, 226, 190))
    draw.polygon([(0, height), (width // 3, 60 + seed % 30), (width, height)], fill=(142, 132, 112))
    draw.polygon([(width // 4, height), (width * 2 // 3, 80), (width, height)], fill=(96 + seed % 40, 98, 92))
    return image


def _save(folder: Path, file: str, image: Image.Image, **options: Any) -> tuple[str, int]:
    target = folder / file
    target.parent.mkdir(parents=True, exist_ok=True)
    image.save(target, **options)
    content = target.read_bytes()
    return hashlib.sha256(content).hexdigest(), len(content)


def condition(side: Side, number: int) -> Condition:
    """A condition as the measuring room would return it."""
    grade = (Grade.MODERATE, Grade.SLIGHT, Grade.SEVERE, Grade.NONE, Grade.NOT_MEASURABLE)[number % 5]
    known = grade is not Grade.NOT_MEASURABLE
    return Condition(
        side=side,
        fade=Fade(
            grade=grade,
            density_min=(0.11, 0.14, 0.21) if known else None,
            density_max=(1.32, 1.41, 1.22) if known else None,
            density_loss=(0.38, 0.12, 0.054) if known else None,
            uncertainty=(0.06, 0.03, 0.03) if known else None,
            note="" if known else "The scan shows no picture whose darkest tone could be found.",
        ),
        stain=Stain(
            grade=Grade.SLIGHT if number % 2 else Grade.NONE,
            area_fraction=0.034,
            yellowness_index=22.4,
            base_lab=(88.1, 1.2, 9.8),
            regions=[Region(kind="tide line", box_mm=(3, 4, 20, 12), area_fraction=0.02, delta_e=8.2)]
            if number % 2
            else [],
        ),
    )


def side_files(folder: Path, reference: str, side: Side, seed: int, uses: tuple[Use, ...]) -> dict[str, Any]:
    """Write master, copies, recipes and condition of one side; returns its records."""
    image = picture(seed)
    file = paths.master(reference, side, "tif")
    digest, size = _save(folder, file, image, dpi=(600, 600))
    master = Master(
        side=side, file=file, sha256=digest, bytes=size, width=240, height=160, bits=8, ppi=600.0, profile="sRGB",
        scanned_as=f"scan_{seed:04}.tif",
    )  # fmt: skip
    outlined = image.copy()
    ImageDraw.Draw(outlined).rectangle((8, 8, 70, 50), outline=(200, 40, 40), width=2)
    _save(folder, paths.condition(reference, side, "png"), outlined)
    measured = condition(side, seed)
    (folder / paths.condition(reference, side, "json")).write_text(measured.model_dump_json(indent=2))
    (folder / paths.sidecar(file)).write_text(f"<x:xmpmeta xmlns:x='adobe:ns:meta/'>{reference}</x:xmpmeta>")
    copies = []
    for use in uses:
        made = Image.eval(image, lambda v: max(0, min(255, int((v - 90) * 1.9))))
        if use is Use.THUMBNAIL:
            made.thumbnail((120, 120))
        path = paths.copy(reference, side, None, use)
        digest, _ = _save(folder, path, made, quality=88)
        recipe = paths.recipe(reference, side, None, use)
        (folder / recipe).parent.mkdir(parents=True, exist_ok=True)
        (folder / recipe).write_text(json.dumps({"schema": "surrogate-recipe/1", "words": WORDS}, indent=2))
        fidelity = Fidelity(clipped_black=0.001, clipped_white=0.0, largest_gain=1.9, structure=0.985)
        copies.append(
            Copy(
                use=use,
                side=side,
                part=None,
                file=path,
                sha256=digest,
                width=made.width,
                height=made.height,
                recipe=recipe,
                master_sha256=master.sha256,
                fidelity=fidelity,
            )
        )
    return {"master": master, "condition": measured, "copies": copies}


def original(folder: Path, number: int, **changes: Any) -> Original:
    """One original with its files; every third has a back, clippings have a reading copy."""
    reference = f"2026.001.{number:04}"
    kind = (Kind.COLOUR_PRINT, Kind.SILVER_PRINT, Kind.CLIPPING)[number % 3]
    recto_uses = (Use.VIEWING, Use.THUMBNAIL) + ((Use.READING,) if kind is Kind.CLIPPING else ())
    sides = [side_files(folder, reference, Side.RECTO, number, recto_uses)]
    if number % 3 == 0:
        sides.append(side_files(folder, reference, Side.VERSO, number + 100, (Use.READING, Use.THUMBNAIL)))
    described: dict[str, Any] = {
        "reference": reference,
        "kind": kind,
        "kind_confidence": 0.93,
        "title": f"Launch of the Seeadler, picture {number}",
        "caption": "The club's third boat leaves the slipway; children watch from the wall.",
        "date": ("1952~", "1943-05-08", "194X")[number % 3],
        "people": ["Erna Holst", "Karl Brandt"][: 1 + number % 2],
        "place": "Lindenau, old harbour",
        "inscription": "Launch, May" if number % 3 == 0 else "",
        "creator": "Erna Holst",
        "rights": "",
        "location": Location(box=f"B{number % 4}", folder="F2", enclosure=""),
        "priority": Priority(rank=number, reason="Badly faded and the paper is breaking."),
        "masters": [side["master"] for side in sides],
        "condition": [side["condition"] for side in sides],
        "copies": [copy for side in sides for copy in side["copies"]],
    }
    return Original(**(described | changes))


def set_aside() -> list[SetAside]:
    """Two scans that were not taken in."""
    return [
        SetAside(
            file="scans/broken.tif",
            reason="The file ends before its picture does.",
            advice="Scan the original again, or copy the file again from where it came from.",
        ),
        SetAside(file="scans/<b>.jpg", reason="This is a text file.", advice="Leave it out."),
    ]


def captions(originals: list[Original]) -> bytes:
    """The caption sheet of these originals."""
    stream = io.StringIO()
    rows = csv.writer(stream)
    rows.writerow(["file", "reference", "side", "title", "caption", "date", "people", "place"])
    for item in originals:
        for master in item.masters:
            row = [master.scanned_as, item.reference, master.side.value, item.title, item.caption, item.date]
            rows.writerow([*row, "; ".join(item.people), item.place])
    return stream.getvalue().encode()


def build(folder: Path, originals: int = 6, **changes: Any) -> Manifest:
    """Write a whole collection into ``folder`` and return its manifest. ``changes`` go to every original."""
    folder.mkdir(parents=True, exist_ok=True)
    items = [original(folder, number, **changes) for number in range(1, originals + 1)]
    (folder / "collection.toml").write_text(f'[collection]\nname = "{COLLECTION.name}"\n')
    (folder / "captions.csv").write_bytes(captions(items))
    manifest.write(folder, COLLECTION, SOFTWARE, items, set_aside())
    return Manifest(collection=COLLECTION, software=SOFTWARE, originals=items, set_aside=set_aside())
