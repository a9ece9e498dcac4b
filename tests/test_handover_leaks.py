"""What must stay in the house stays there: private things in every field, file and metadata block."""

from __future__ import annotations

import hashlib
import json
import random
import struct
from datetime import date
from io import BytesIO
from pathlib import Path

import handmade
import pytest
from PIL import Image

from surrogate.collection.numbering import name_of
from surrogate.collection.settings import PublishSection
from surrogate.exporting import strictest_access
from surrogate.handover import manifest
from surrogate.handover.site import Leaked, images, leaks, publish, shown, state
from surrogate.records import Location, Manifest

TODAY = date(2026, 6, 1)


def secret(chance: random.Random) -> str:
    """A word that stands nowhere by chance."""
    return "zq" + "".join(chance.choice("abcdefghijklmnopqrstuvwxyz") for _ in range(10))


def with_blocks(jpeg: bytes, word: str) -> bytes:
    """The JPEG with a word in a comment, in Exif, XMP, IPTC-IIM and in a block of unknown make."""
    exif = Image.Exif()
    exif[0x010E] = f"box {word}"
    exif[0x9C9C] = word.encode("utf-16-le")
    packet = f"<x:xmpmeta xmlns:x='adobe:ns:meta/'>{word}</x:xmpmeta>".encode()
    dataset = b"\x1c\x02\x78" + struct.pack(">H", len(word)) + word.encode()
    block = b"Photoshop 3.0\x008BIM\x04\x04\x00\x00" + struct.pack(">I", len(dataset)) + dataset
    blocks = [
        (0xFE, word.encode()),
        (0xE1, exif.tobytes()),
        (0xE1, b"http://ns.adobe.com/xap/1.0/\x00" + packet),
        (0xED, block),
        (0xE2, b"MPF\x00" + word.encode()),
        (0xEB, word.encode()),
    ]
    made = b"".join(bytes([0xFF, marker]) + struct.pack(">H", len(c) + 2) + c for marker, c in blocks)
    return jpeg[:2] + made + jpeg[2:]


def plant(folder: Path, seed: int, originals: int = 3) -> tuple[Manifest, set[str]]:
    """A collection with private things everywhere; returns it with the words that must not leave."""
    chance = random.Random(seed)
    whole = handmade.build(folder, originals)
    words: set[str] = set()
    items = []
    living = f"{secret(chance).title()} {secret(chance).title()}"

    def fresh() -> str:
        words.add(word := secret(chance))
        return word

    for original in whole.originals:
        changes: dict[str, object] = {
            "location": Location(box=fresh(), folder=f"{fresh()} & {fresh()}", enclosure=fresh()),
            "notes": f'{fresh()} "quoted" <{fresh()}>\n{fresh()}',
        }
        state = chance.choice(["public", "private", "closed", "odd", "living", "taken down"])
        if state in {"private", "closed", "odd"}:
            changes |= {
                "access": {"private": "Private", "closed": "2026-06-02", "odd": "ask the chair"}[state],
                "title": fresh(),
                "caption": f"{fresh()} {fresh()}",
                "people": [fresh()],
                "place": fresh(),
                "inscription": fresh(),
                "creator": fresh(),
            }
        if state == "living":
            first, last = living.split()
            changes |= {
                "people": [f"{living} (living)", "Karl Brandt"],
                "caption": f"Left {living.upper()}, right Karl; {last}, {first} again.",
                "title": f"{first}\n{last} on the wall",
                "inscription": f"for {first}  {last}",
            }
        items.append(original.model_copy(update=changes))
        for copy in original.copies:
            file = folder / copy.file
            file.write_bytes(with_blocks(file.read_bytes(), fresh()))
    taken = items[-1].reference if chance.random() < 0.3 else ""
    (folder / "collection.toml").write_text(
        "[publish]\n"
        f"approved_only = {'true' if chance.random() < 0.2 else 'false'}\n"
        f"before_and_after = {'true' if chance.random() < 0.5 else 'false'}\n"
        f'story = "A story that names {living}."\n'
        f"taken_down = {json.dumps([taken] if taken else [])}\n"
        f"withheld_people = {json.dumps([living])}\n"
    )
    manifest.write(folder, whole.collection, whole.software, items, whole.set_aside)
    for name in living.split():
        words.add(name.lower())
    return whole.model_copy(update={"originals": items}), words


def leaking(site: Path, whole: Manifest, words: set[str]) -> list[str]:
    """A search that shares no code with the program: bytes of every file, in several spellings."""
    found = []
    spelled = [s for w in words for s in (w.encode(), w.upper().encode(), w.title().encode(), w.encode("utf-16-le"))]
    masters = {master.sha256 for original in whole.originals for master in original.masters}
    with state.opened(site) as known:
        assert known.checked
    for file in site.rglob("*"):
        if file.is_file():
            content = file.read_bytes()
            if hashlib.sha256(content).hexdigest() in masters:
                found.append(f"{file}: a master")
            found += [f"{file}: {word!r}" for word in spelled if word in content]
    return found


@pytest.mark.parametrize("seed", range(20))
def test_nothing_private_leaves(tmp_path: Path, seed: int) -> None:
    whole, words = plant(tmp_path / "c", seed)
    report = publish(tmp_path / "c", tmp_path / "s", today=TODAY)
    assert leaking(tmp_path / "s", whole, words) == []
    hidden = {o.reference for o in whole.originals if not (tmp_path / f"s/items/{name_of(o.reference)}.html").exists()}
    assert len(hidden) == report.hidden
    for reference in hidden:
        assert not list((tmp_path / "s").rglob(f"*{name_of(reference)}*"))


def test_closing_and_taking_down_remove_everything(tmp_path: Path) -> None:
    whole = handmade.build(tmp_path / "c", 4)
    publish(tmp_path / "c", tmp_path / "s", today=TODAY)
    closed = whole.originals[1].model_copy(update={"access": "private"})
    items = [closed if o.reference == closed.reference else o for o in whole.originals]
    manifest.write(tmp_path / "c", whole.collection, whole.software, items, [])
    (tmp_path / "c/collection.toml").write_text('[publish]\ntaken_down = ["2026.001.0003"]\n')
    report = publish(tmp_path / "c", tmp_path / "s", today=TODAY)
    assert (report.shown, report.hidden) == (2, 2)
    everything = b"".join(file.read_bytes() for file in (tmp_path / "s").rglob("*") if file.is_file())
    for number in ("0002", "0003"):
        assert not list((tmp_path / "s").rglob(f"2026-001-{number}*"))
        assert f"2026.001.{number}".encode() not in everything
        assert f"2026-001-{number}".encode() not in everything


@pytest.mark.parametrize(
    ("path", "content"),
    [
        ("items/extra.html", "<p>kept in the attic&#32;cupboard</p>"),
        ("iiif/extra.json", '{"a": "kept in\\nthe attic cupboard"}'),
        ("search/extra.js", 'surrogatePiece("x",["kept in the ATTIC cupboard"])'),
        ("feed2.xml", "<a>kept in the attic cupboard</a>"),
        ("picture.jpg", None),
        ("masters.tif", "x"),
        ("collection.toml", "x"),
        ("iiif/2026-001-0002_r/thumbnail.jpg", "x"),
    ],
)
def test_the_check_finds_what_was_slipped_in(tmp_path: Path, path: str, content: str | None) -> None:
    whole = handmade.build(tmp_path / "c", 2)
    items = [
        whole.originals[0].model_copy(update={"notes": "Kept in the attic cupboard."}),
        whole.originals[1].model_copy(update={"access": "private"}),
    ]
    manifest.write(tmp_path / "c", whole.collection, whole.software, items, [])
    publish(tmp_path / "c", tmp_path / "s", today=TODAY)
    victim = tmp_path / "s" / path
    victim.parent.mkdir(parents=True, exist_ok=True)
    if content is None:
        stream = BytesIO()
        handmade.picture(3).save(stream, "JPEG")
        victim.write_bytes(with_blocks(stream.getvalue(), "attic"))
    else:
        victim.write_text(content)
    with state.opened(tmp_path / "s") as known:
        known.checked = ""
    with pytest.raises(Leaked, match="Do not upload") as caught:
        publish(tmp_path / "c", tmp_path / "s", today=TODAY)
    assert path in {leak.file for leak in caught.value.leaks}


def test_a_master_under_any_name_is_found(tmp_path: Path) -> None:
    whole = handmade.build(tmp_path / "c", 1)
    publish(tmp_path / "c", tmp_path / "s", today=TODAY)
    master = (tmp_path / "c" / whole.originals[0].masters[0].file).read_bytes()
    (tmp_path / "s/innocent.bin").write_bytes(master)
    with pytest.raises(Leaked, match="is a master"):
        publish(tmp_path / "c", tmp_path / "s", today=TODAY)


def test_what_a_shown_original_says_too_is_no_secret(tmp_path: Path) -> None:
    whole = handmade.build(tmp_path / "c", 2)
    hidden = whole.originals[1].model_copy(update={"access": "private", "place": whole.originals[0].place})
    manifest.write(tmp_path / "c", whole.collection, whole.software, [whole.originals[0], hidden], [])
    assert publish(tmp_path / "c", tmp_path / "s", today=TODAY).hidden == 1


@pytest.mark.parametrize(
    ("access", "shown_on_day"),
    [
        ("", True), ("public", True), (" Public ", True), ("private", False), ("2026-06-01", True),
        ("2026-06-02", False), ("2026-13-01", False), ("2020", False), ("next year", False),
    ],
)  # fmt: skip
def test_who_may_see_what(tmp_path: Path, access: str, shown_on_day: bool) -> None:
    original = handmade.original(tmp_path, 1, access=access)
    assert shown.is_open(original, PublishSection(), TODAY) is shown_on_day
    assert not shown.is_open(original, PublishSection(approved_only=True), TODAY)
    approved = original.model_copy(update={"approved": True})
    assert shown.is_open(approved, PublishSection(approved_only=True), TODAY) is shown_on_day


def test_what_was_taken_down_does_not_come_back_as_a_back(tmp_path: Path) -> None:
    front = handmade.original(tmp_path, 1).model_copy(update={"earlier_numbers": ["2026.001.0009"]})
    assert shown.is_open(front, PublishSection(), TODAY)
    assert not shown.is_open(front, PublishSection(taken_down=["2026.001.0009"]), TODAY)
    # A set that was put together before knows it by that number.
    assert shown.is_open(front, PublishSection(only=frozenset({"2026.001.0009"})), TODAY)
    assert not shown.is_open(front, PublishSection(only=frozenset({"2026.001.0008"})), TODAY)


@pytest.mark.parametrize(
    "text", ["Erna Holst", "ERNA  holst", "erna\nholst", "Holst, Erna", "with Erna Holst.", "(Erna Holst)"]
)
def test_names_are_taken_out_in_any_form(text: str) -> None:
    told = shown.redactor(["Erna Holst"])(text)
    assert "holst" not in told.lower()
    assert told.count("\n") == text.count("\n")


def test_other_names_stay() -> None:
    assert shown.redactor(["Erna Holst"])("Erna Holstein and Berna Holst") == "Erna Holstein and Berna Holst"
    assert shown.redactor([])("Erna Holst") == "Erna Holst"


def test_metadata_is_taken_out_and_pixels_stay() -> None:
    stream = BytesIO()
    profile = b"p" * 3000
    handmade.picture(4).save(stream, "JPEG", icc_profile=profile, progressive=True)
    dirty = with_blocks(stream.getvalue(), "zqsecret")
    clean = images.with_description(dirty, "")
    assert b"zqsecret" not in clean
    assert images.metadata_of(clean) == []
    with Image.open(BytesIO(clean)) as after, Image.open(BytesIO(stream.getvalue())) as before:
        assert after.tobytes() == before.tobytes()
        assert after.info["icc_profile"] == profile


@pytest.mark.parametrize("broken", [b"", b"GIF89a", b"\xff\xd8", b"\xff\xd8\xff\xe1\x00\x04ab"])
def test_what_is_no_jpeg_is_said_to_be_none(broken: bytes) -> None:
    with pytest.raises(ValueError, match=r"JPEG|marker|picture data"):
        list(images.segments(broken))


def test_secrets_read_words_not_letters() -> None:
    secrets = leaks.Secrets(["Box 12", "Attic", "12", "B2"])
    assert secrets.found_in("the box-12 stands") == {("box", "12")}
    assert secrets.found_in("atticism, 12, B2, box 123") == set()


@pytest.mark.parametrize(
    ("sides", "whole"),
    [
        (("", ""), ""), (("public", ""), "public"), (("public", "private"), "private"), (("private", ""), "private"),
        (("2030-01-01", "2031-05-01"), "2031-05-01"), (("2030-01-01", "private"), "private"),
        (("", "2030-01-01"), "2030-01-01"),
    ],
)  # fmt: skip
def test_the_stricter_side_counts(sides: tuple[str, str], whole: str) -> None:
    assert strictest_access(*sides) == whole
