"""Faces: from the sheet to IPTC image regions and back, through turns and outlines."""

from __future__ import annotations

import json
import subprocess
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from surrogate.description import faces
from surrogate.description.embed import Description, embedder
from surrogate.description.faces import Face

OUTLINE = ((100.0, 50.0), (500.0, 80.0), (480.0, 380.0), (90.0, 360.0))


def test_the_cell_is_read_as_written_and_nonsense_is_left_out() -> None:
    said = [Face(name="Ada Quill", x=0.25, y=0.5, r=0.04), Face(name="?", x=1, y=0, r=0.1)]
    assert faces.read(faces.written(said)) == said
    assert faces.read("Ada; Ada @ 1.5 0 0; Ada @ x y z; @; ; Z @ 0.1 0.2 0.3 0.4") == []
    assert [face.name for face in faces.read("a @ home @ 0.1 0.2 0.3")] == ["a @ home"]


@pytest.mark.parametrize("turn", [0, 90, 180, 270])
@pytest.mark.parametrize("outline", [None, OUTLINE])
def test_a_mark_follows_the_picture(turn: int, outline: faces.Corners | None) -> None:
    # outside truth: OpenCV turns and warps a picture with a dot in it
    width, height = 600, 440
    scan = np.zeros((height, width), np.uint8)
    cv2.circle(scan, (300, 200), 6, 255, -1)
    moved = scan if turn == 0 else cv2.rotate(scan, {90: 0, 180: 1, 270: 2}[turn])
    if outline is not None and turn in {90, 270}:
        outline = tuple((y, x) for x, y in (OUTLINE[0], OUTLINE[3], OUTLINE[2], OUTLINE[1]))
    if outline is not None:
        square = np.array([(0, 0), (400, 0), (400, 300), (0, 300)], np.float32)
        moved = cv2.warpPerspective(
            moved, cv2.getPerspectiveTransform(np.array(outline, np.float32), square), (400, 300)
        )
    found = cv2.moments(moved)
    x, y = found["m10"] / found["m00"] / moved.shape[1], found["m01"] / found["m00"] / moved.shape[0]
    face = Face(name="Ada", x=0.5, y=200 / 440, r=0.05)
    (on_copy,) = faces.on_copy([face], width, height, turn, outline)
    assert (on_copy.x, on_copy.y) == pytest.approx((x, y), abs=0.006)
    (back,) = faces.on_scan([on_copy], width, height, turn, outline)
    assert (back.x, back.y, back.r) == pytest.approx((face.x, face.y, face.r), abs=0.002)


def test_a_mark_outside_the_outline_is_not_on_the_copy() -> None:
    assert faces.on_copy([Face(name="Ada", x=0.02, y=0.5, r=0.02)], 600, 440, 0, OUTLINE) == []


def test_exiftool_reads_the_image_regions_back(tmp_path: Path) -> None:
    # structure: IPTC Photo Metadata Standard, Image Region; read by ExifTool's own table of it
    file = tmp_path / "copy.jpg"
    Image.new("RGB", (60, 40)).save(file)
    said = [Face(name="Zoë; “Fenn”", x=0.25, y=0.5, r=0.04), Face(name="?", x=0.75, y=0.5, r=0.04)]
    embedder().write(file, Description(reference="2026.001.0001", people=["Zoë Fenn", "?"], faces=said))
    answer = subprocess.run(
        ["exiftool", "-json", "-struct", "-XMP-iptcExt:ImageRegion", str(file)], check=True, capture_output=True
    )
    one, other = json.loads(answer.stdout)[0]["ImageRegion"]
    assert one["Name"] == "Zoë; “Fenn”"
    assert one["RegionBoundary"] == {"RbShape": "Circle", "RbUnit": "Relative", "RbX": 0.25, "RbY": 0.5, "RbRx": 0.04}
    assert one["RCtype"][0]["Identifier"] == ["http://cv.iptc.org/newscodes/imageregiontype/human"]
    assert "Name" not in other
    embedder().write(file, Description(reference="2026.001.0001"))
    assert b"ImageRegion" not in file.read_bytes()
