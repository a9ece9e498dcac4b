"""Words put into copies arrive, read by programs that are not ours: exiv2, Pillow and an XML parser.

Field names and lengths: IPTC Photo Metadata Standard, IIM 4.2 (lengths from memory), Exif 2.32, XMP part 1 and 2.
"""

from __future__ import annotations

import hashlib
import os
import re
import stat
import subprocess
import sys
import unicodedata
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import numpy as np
import pytest
import pyvips
from PIL import ExifTags, Image, ImageCms, IptcImagePlugin

from surrogate.description.conversation import Conversation
from surrogate.description.embed import Description, Embedder
from surrogate.description.text import clean, shorten
from surrogate.errors import EmbeddingFailed, MissingTool

NAMES = {
    "dc": "http://purl.org/dc/elements/1.1/",
    "rdf": "http://www.w3.org/1999/02/22-rdf-syntax-ns#",
    "photoshop": "http://ns.adobe.com/photoshop/1.0/",
    "ext": "http://iptc.org/std/Iptc4xmpExt/2008-02-29/",
    "core": "http://iptc.org/std/Iptc4xmpCore/1.0/xmlns/",
    "exif": "http://ns.adobe.com/exif/1.0/",
    "xmp": "http://ns.adobe.com/xap/1.0/",
    "mm": "http://ns.adobe.com/xap/1.0/mm/",
    "ref": "http://ns.adobe.com/xap/1.0/sType/ResourceRef#",
    "event": "http://ns.adobe.com/xap/1.0/sType/ResourceEvent#",
}

# What people, spreadsheets and mischief put into a caption.
HOSTILE = [
    "plain words",
    "two\nlines",
    "two\n\nparagraphs\n",
    "Windows\r\nline ends",
    "old\rline ends",
    "-execute",
    "x\n-execute\n",
    "x\n-stay_open\nFalse\n",
    "x\n/etc/passwd",
    "x\n-Artist=someone else",
    "-XMP-dc:Title=taken over",
    "#comment",
    "@/etc/hosts",
    "{ready1}\n{ready2}",
    '=HYPERLINK("http://example.org")',
    "=1+1",
    "+1",
    "-1",
    "@SUM(A1)",
    "'=already quoted",
    "base64:QUJD",
    "base64:not really",
    "\\u0041 \\n \\\\",
    "ends in a backslash \\",
    "$(rm -rf ~) `ls` ${HOME} %PATH%",
    "%s %d %n",
    "../../etc/passwd",
    "C:\\Scans\\new",
    "&amp; & <b>bold</b> &#0;",
    "<?xpacket end='w'?>",
    "]]> <![CDATA[ x ]]>",
    "</rdf:li></rdf:Alt></dc:title></rdf:Description>",
    '<!DOCTYPE a [<!ENTITY b "c">]>&b;',
    "quotes \" ' ` “ ” ‘ ’ «»",
    "  blanks around  ",
    "\ttabs\there\t",
    "007",
    "1e5",
    "1.50",
    "True",
    "null",
    "-",
    "[a, b] {c=d} (e|f); g",
    "nul\x00inside",
    "escape \x1b[31mred\x1b[0m",
    "bell \x07, delete \x7f",
    "next line \x85 of old systems",
    "non-characters \ufffe \uffff \ufdd0 \U0001ffff",
    "a lone surrogate \ud83d here",
    "decomposed e\u0301 and n\u0303",
    "שלום, סבתא 1943",
    "جدتي في الميناء",
    "हमारी दादी, क्षत्रिय",
    "渡船の前で、祖母と",
    "👩‍👩‍👧‍👦 🏳️‍🌈 👍🏽",
    "𝔊𝔯𝔬ß 𠮷野",
    "\u202eright to left override",
    "zero\u200dwidth\u200cjoiners\u00ad soft",
    "\ufeffmark in front",
    "line\u2028and paragraph\u2029separators",
    "x" * 100_000,
    "漢" * 350_000,
]


def a_picture(path: Path, *, size: tuple[int, int] = (24, 16), profile: bytes | None = None) -> Path:
    values = np.random.default_rng(7).integers(0, 256, (size[1], size[0], 3), dtype=np.uint8)
    Image.fromarray(values).save(path, dpi=(300, 300), icc_profile=profile)
    return path


def full() -> Description:
    return Description(
        reference="2026.001.0007",
        title="The ferry leaves",
        caption="Grandmother at the rail.\nThe ferry left at noon.",
        inscription="Me & [illegible]\n  Sund, Easter",
        date="1943~",
        people=["Ida Holm (née Berg)", "?", "Jan; the elder"],
        place="Sund, north quay https://example.org/place/1",
        creator="Foto Ek",
        credit="Village museum",
        rights="No known copyright",
        source_type="algorithmicallyEnhanced",
        source="masters/2026-001/2026-001-0007_r.tif sha256 " + "ab" * 32,
        derived_from="masters/2026-001/2026-001-0007_r.tif",
        history=["Fade: densities of the three dyes raised.", "Cropped to the print."],
        software="surrogate 0.1.0",
    )


def exiv2(path: Path, *options: str) -> str:
    done = subprocess.run(["exiv2", *options, str(path)], capture_output=True, check=False)
    return done.stdout.decode("utf-8")


def exiv2_values(path: Path, *keys: str) -> str:
    """The values of some fields, Exif before IIM, one after the other."""
    chosen = [part for key in keys for part in ("-g", f"{key}$")]
    return re.sub(r"^charset=\w+ ", "", exiv2(path, *chosen, "-Pv").removesuffix("\n"))


def xmp_of(path: Path) -> ET.Element:
    """The XMP packet that exiv2 takes out of a file, read by an XML parser."""
    done = subprocess.run(["exiv2", "-pX", str(path)], capture_output=True, check=True)
    return ET.fromstring(done.stdout)


def xmp_value(packet: ET.Element, name: str) -> str:
    found = packet.find(f".//{name}", NAMES)
    if found is None:
        return ""
    items = found.findall(".//rdf:li", NAMES)
    return (items[0] if items else found).text or ""


def xmp_values(packet: ET.Element, name: str) -> list[str]:
    return [item.text or "" for item in packet.findall(f".//{name}//rdf:li", NAMES)]


@pytest.fixture(scope="module")
def embedder() -> Any:
    with Embedder() as tool:
        yield tool


@pytest.mark.parametrize("suffix", [".jpg", ".tif"])
def test_every_hostile_string_arrives_or_is_stripped_with_a_word(
    tmp_path: Path, embedder: Embedder, suffix: str
) -> None:
    assert len(HOSTILE) == 62
    short = [text for text in HOSTILE if len(text) < 10_000]  # the two long ones have a test of their own
    items = [(a_picture(tmp_path / f"{number}{suffix}"), everywhere(text)) for number, text in enumerate(short)]
    embedder.write_many(items)
    for (path, _), text in zip(items, short, strict=True):
        cleaned = clean(text)
        assert cleaned.stripped or cleaned.text == as_nfc(text)
        wanted = cleaned.text.strip(" \t\n")
        blocks = iim_and_exif(path)
        caption = f"{wanted}\nOn the back: {wanted}" if wanted else ""
        assert blocks.get("Caption-Abstract", "") == caption
        assert blocks.get("ImageDescription", "") == caption
        if caption:
            both = exiv2_values(path, "Iptc.Application2.Caption", "Exif.Image.ImageDescription")
            assert both == f"{caption}\n{caption}"
        assert user_comment(path) == wanted
        one_line = wanted.replace("\n", " ")
        assert blocks["ObjectName"] == cut(one_line, 64)
        packet = xmp_of(path)
        assert xmp_value(packet, "dc:description") == caption
        for name in ("dc:title", "exif:UserComment", "ext:AOTitle", "core:Location", "ext:LocationName"):
            assert xmp_value(packet, name) == wanted, name
        assert xmp_values(packet, "ext:PersonInImage") == [wanted]
        assert xmp_value(packet, "event:parameters") == wanted


@pytest.mark.parametrize("text", [text for text in HOSTILE if len(text) >= 10_000], ids=["100 kB", "1 MB"])
def test_captions_longer_than_a_segment_arrive_whole(tmp_path: Path, embedder: Embedder, text: str) -> None:
    jpeg, tiff = a_picture(tmp_path / "copy.jpg"), a_picture(tmp_path / "copy.tif")
    embedder.write_many([(jpeg, Description(caption=text)), (tiff, Description(caption=text))])
    assert xmp_value(xmp_of(tiff), "dc:description") == text
    assert xmp_value(ET.fromstring(extended_xmp(jpeg.read_bytes())), "dc:description") == text
    assert iim_and_exif(jpeg)["Caption-Abstract"] == cut(text, 2000)


def extended_xmp(jpeg: bytes) -> bytes:
    """XMP beyond 64 kB, put together as XMP part 3, 1.1.3.1 says: signature, MD5, whole length, offset, part."""
    parts: dict[int, bytes] = {}
    digest, length, at = b"", 0, 2
    while jpeg[at + 1] != 0xDA:
        size = int.from_bytes(jpeg[at + 2 : at + 4], "big")
        body = jpeg[at + 4 : at + 2 + size]
        if body.startswith(b"http://ns.adobe.com/xmp/extension/\x00"):
            digest, length = body[35:67], int.from_bytes(body[67:71], "big")
            parts[int.from_bytes(body[71:75], "big")] = body[75:]
        at += 2 + size
    whole = b"".join(parts[offset] for offset in sorted(parts))
    assert len(whole) == length
    assert hashlib.md5(whole, usedforsecurity=False).hexdigest().upper().encode() == digest
    return whole


def everywhere(text: str) -> Description:
    return Description(
        title=text,
        caption=text,
        inscription=text,
        people=[text],
        place=text,
        history=[text],
        creator=text,
        rights=text,
    )


def as_nfc(text: str) -> str:
    """What cleaning states that it does to every text: one kind of line end, NFC, no mark in front."""
    return unicodedata.normalize("NFC", text.replace("\r\n", "\n").replace("\r", "\n").removeprefix("\ufeff"))


def cut(text: str, most: int) -> str:
    return shorten(text, most).strip(" \t\n")


def iim_and_exif(path: Path) -> dict[str, str]:
    """IIM and Exif as Pillow reads them."""
    with Image.open(path) as image:
        iim = IptcImagePlugin.getiptcinfo(image) or {}
        exif = image.getexif()
    texts = {name: iim[2, number].decode() for name, number in IIM_NUMBERS.items() if (2, number) in iim}
    for name in ("ImageDescription", "DocumentName", "Artist", "Copyright", "Software"):
        value = exif.get(ExifTags.Base[name])
        if value is not None:
            # Pillow takes Exif's text for Latin-1 in TIFF and JPEG, as the standard's "ASCII" leaves open
            texts[name] = value.encode("latin-1").decode() if isinstance(value, str) else value.decode()
    return texts


def user_comment(path: Path) -> str:
    """Exif's UserComment from its raw bytes (Exif 2.32, 4.6.5); exiv2 0.27 has only two bytes a character there."""
    with Image.open(path) as image:
        exif = image.getexif()
        raw = exif.get_ifd(ExifTags.IFD.Exif).get(ExifTags.Base.UserComment, b"ASCII\x00\x00\x00")
    if raw.startswith(b"ASCII\x00"):
        return raw[8:].decode("ascii")
    assert raw.startswith(b"UNICODE\x00")
    return raw[8:].decode("utf-16-be" if exif.endian == ">" else "utf-16-le")


IIM_NUMBERS = {
    "ObjectName": 5,
    "DateCreated": 55,
    "By-line": 80,
    "Sub-location": 92,
    "OriginalTransmissionReference": 103,
    "Credit": 110,
    "CopyrightNotice": 116,
    "Caption-Abstract": 120,
}


@pytest.mark.parametrize("suffix", [".jpg", ".tif"])
def test_every_field_of_the_table_reads_the_same_elsewhere(tmp_path: Path, embedder: Embedder, suffix: str) -> None:
    path = a_picture(tmp_path / f"copy{suffix}")
    words = full()
    embedder.write(path, words)
    caption = f"{words.caption}\nOn the back: {words.inscription}"
    packet = xmp_of(path)
    assert {
        name: xmp_value(packet, name)
        for name in (
            *("dc:identifier", "photoshop:TransmissionReference", "ext:AOSourceInvNo", "dc:title", "ext:AOTitle"),
            *("dc:description", "exif:UserComment", "photoshop:DateCreated", "ext:AOCircaDateCreated"),
            *("ext:LocationName", "ext:Sublocation", "ext:LocationId", "core:Location", "dc:creator"),
            *("photoshop:Credit", "dc:rights", "ext:DigitalSourceType", "dc:source", "ref:filePath", "xmp:CreatorTool"),
        )
    } == {
        "dc:identifier": words.reference,
        "photoshop:TransmissionReference": words.reference,
        "ext:AOSourceInvNo": words.reference,
        "dc:title": words.title,
        "ext:AOTitle": words.title,
        "dc:description": caption,
        "exif:UserComment": words.inscription,
        "photoshop:DateCreated": "1943",
        "ext:AOCircaDateCreated": "1943~",
        "ext:LocationName": "Sund, north quay",
        "ext:Sublocation": "Sund, north quay",
        "ext:LocationId": "https://example.org/place/1",
        "core:Location": "Sund, north quay",
        "dc:creator": words.creator,
        "photoshop:Credit": words.credit,
        "dc:rights": words.rights,
        "ext:DigitalSourceType": "http://cv.iptc.org/newscodes/digitalsourcetype/algorithmicallyEnhanced",
        "dc:source": words.source,
        "ref:filePath": words.derived_from,
        "xmp:CreatorTool": words.software,
    }
    assert xmp_values(packet, "ext:PersonInImage") == words.people
    assert [step.text for step in packet.findall(".//event:parameters", NAMES)] == words.history
    blocks = {
        "OriginalTransmissionReference": words.reference,
        "ObjectName": words.title,
        "Caption-Abstract": caption,
        "DateCreated": "19430000",
        "Sub-location": "Sund, north quay",
        "By-line": words.creator,
        "Credit": words.credit,
        "CopyrightNotice": words.rights,
        "DocumentName": words.title,
        "ImageDescription": caption,
        "Artist": words.creator,
        "Copyright": words.rights,
        "Software": words.software,
    }
    assert iim_and_exif(path) == blocks
    for name, value in blocks.items():
        key = f"Exif.Image.{name}" if name in EXIF_NAMES else f"Iptc.Application2.{EXIV2_NAMES.get(name, name)}"
        assert exiv2_values(path, key) == value
    assert exiv2_values(path, "Exif.Photo.UserComment") == words.inscription
    assert exiv2_values(path, "Iptc.Envelope.CharacterSet") == "\x1b%G"  # ISO 2022 escape for UTF-8, IIM 1:90


EXIF_NAMES = {"DocumentName", "ImageDescription", "Artist", "Copyright", "Software"}
EXIV2_NAMES = {
    "OriginalTransmissionReference": "TransmissionReference",
    "Caption-Abstract": "Caption",
    "Sub-location": "SubLocation",
    "By-line": "Byline",
    "CopyrightNotice": "Copyright",
}


@pytest.mark.parametrize("suffix", [".jpg", ".tif"])
def test_pixels_profile_and_resolution_stay(tmp_path: Path, embedder: Embedder, suffix: str) -> None:
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    path = a_picture(tmp_path / f"copy{suffix}", profile=profile)
    with Image.open(path) as image:
        before = (image.tobytes(), image.info["icc_profile"], [float(value) for value in image.info["dpi"]])
    embedder.write(path, full())
    embedder.rewrite_many([(path, full().model_copy(update={"title": "Another title"}))])
    with Image.open(path) as image:
        assert (image.tobytes(), image.info["icc_profile"], [float(v) for v in image.info["dpi"]]) == before
    exif_ppi = exiv2_values(path, "Exif.Image.XResolution")
    assert exif_ppi == "300/1"


@pytest.mark.parametrize("suffix", [".jpg", ".tif"])
def test_same_words_same_bytes_whatever_the_file_held_before(tmp_path: Path, embedder: Embedder, suffix: str) -> None:
    fresh, used = a_picture(tmp_path / f"a{suffix}"), a_picture(tmp_path / f"b{suffix}")
    short = Description(reference="2026.001.0007", title="The ferry leaves")
    embedder.write(fresh, short)
    embedder.write(used, full())
    embedder.rewrite_many([(used, short)])
    assert fresh.read_bytes() == used.read_bytes()
    assert [each.name for each in tmp_path.iterdir() if each not in (fresh, used)] == []


def test_copies_as_the_encoder_makes_them_end_up_the_same_too(tmp_path: Path, embedder: Embedder) -> None:
    picture = pyvips.Image.black(16, 16, bands=3).copy(xres=300 / 25.4, yres=300 / 25.4)
    fresh, used = tmp_path / "a.jpg", tmp_path / "b.jpg"
    for path in (fresh, used):
        picture.jpegsave(str(path), keep="icc|exif")
    embedder.write(fresh, Description(title="The ferry leaves"))
    embedder.write(used, full())
    embedder.rewrite_many([(used, Description(title="The ferry leaves"))])
    assert fresh.read_bytes() == used.read_bytes()
    with Image.open(fresh) as image:
        assert round(image.info["dpi"][0]) == 300


def test_no_resolution_is_made_up(tmp_path: Path, embedder: Embedder) -> None:
    path = tmp_path / "copy.jpg"
    pyvips.Image.black(16, 16, bands=3).jpegsave(str(path), keep="none")
    embedder.write(path, full())
    assert exiv2_values(path, "Exif.Image.ResolutionUnit") == "1"
    assert exiv2_values(path, "Exif.Image.XResolution") == "1/1"


def test_a_sidecar_says_the_same_and_is_replaced_whole(tmp_path: Path, embedder: Embedder) -> None:
    path = tmp_path / "2026-001-0007_r.xmp"
    embedder.sidecar(path, full())
    packet = ET.fromstring(path.read_bytes())
    assert xmp_value(packet, "dc:title") == "The ferry leaves"
    first = path.read_bytes()
    embedder.sidecar(path, Description(title="Short"))
    assert b"ferry" not in path.read_bytes()
    embedder.sidecar(path, full())
    assert path.read_bytes() == first
    assert list(tmp_path.iterdir()) == [path]


def test_values_longer_than_iim_allows_are_cut_between_letters(tmp_path: Path, embedder: Embedder) -> None:
    path = a_picture(tmp_path / "copy.jpg")
    embedder.write(path, Description(creator="Å" * 40, rights="e\u0323\u0301" * 60, credit="👩‍👩‍👧‍👦" * 4))
    blocks = iim_and_exif(path)
    assert blocks["By-line"] == "Å" * 16  # 32 bytes
    assert len(blocks["CopyrightNotice"].encode()) <= 128
    assert set(blocks["CopyrightNotice"].replace("ẹ\u0301", "")) == set()  # no letter without its marks
    assert blocks["Credit"] == "👩‍👩‍👧‍👦"
    assert xmp_value(xmp_of(path), "dc:creator") == "Å" * 40


def test_exif_of_a_very_long_description_fits_one_segment(tmp_path: Path, embedder: Embedder) -> None:
    path = a_picture(tmp_path / "copy.jpg")
    embedder.write(path, everywhere("é" * 30_000))
    assert path.read_bytes().count(b"Exif\x00\x00") == 1


def test_short_inscriptions_whose_byte_order_is_guessed_wrongly_elsewhere(tmp_path: Path, embedder: Embedder) -> None:
    texts = ["Ā", "Ø", "漢", "Ж", "Āā", "é", "Ġ\n", "ж ж", "ÀĀ"]
    items = [(a_picture(tmp_path / f"{n}{s}"), Description(inscription=text)) for n, text in enumerate(texts) for s in
             (".jpg", ".tif")]  # fmt: skip
    embedder.write_many(items)
    for path, words in items:
        assert exiv2_values(path, "Exif.Photo.UserComment") == words.inscription.strip()


def test_a_file_that_cannot_hold_words_is_named(tmp_path: Path, embedder: Embedder) -> None:
    good, bad = a_picture(tmp_path / "good.jpg"), tmp_path / "bad.jpg"
    bad.write_bytes(b"no picture")
    with pytest.raises(EmbeddingFailed, match=r"bad\.jpg") as caught:
        embedder.write_many([(bad, full()), (good, full())])
    assert "good.jpg" not in str(caught.value)
    assert xmp_value(xmp_of(good), "dc:title") == "The ferry leaves"


def test_what_a_killed_run_left_behind_is_no_obstacle(tmp_path: Path, embedder: Embedder) -> None:
    path = a_picture(tmp_path / "copy.jpg")
    (tmp_path / "copy.jpg_exiftool_tmp").write_bytes(b"half")
    embedder.write(path, full())
    assert list(tmp_path.iterdir()) == [path]


def test_a_name_with_a_line_break_is_refused_in_words(tmp_path: Path, embedder: Embedder) -> None:
    path = a_picture(tmp_path / "co\n-execute\npy.jpg")
    with pytest.raises(EmbeddingFailed, match="line break"):
        embedder.write(path, full())


def test_odd_names_are_no_obstacle(tmp_path: Path, embedder: Embedder) -> None:
    for name in ("-execute.jpg", "@list.jpg", "%d.jpg", "Gruß 渡船.jpg", "a b;c.jpg"):
        embedder.write(a_picture(tmp_path / name), full())


def test_after_a_crash_the_next_file_is_done(tmp_path: Path) -> None:
    path = a_picture(tmp_path / "copy.jpg")
    with Conversation() as talk:
        assert talk._process is not None
        talk._process.kill()
        talk._process.wait()
        assert talk.ask(["-ver"]).output.strip()
    with Embedder() as embedder:
        embedder.write(path, full())


@pytest.mark.parametrize(("version", "message"), [(None, "not installed"), ("11.88", "11.88 is too old")])
def test_a_missing_or_old_exiftool_is_said_with_what_to_type(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, version: str | None, message: str
) -> None:
    if version is not None:
        program = tmp_path / "exiftool"
        # answers each command as an old version would
        program.write_text(
            "#!/bin/sh\nwhile read line; do case $line in -execute*) "
            f'echo {version}; echo "{{ready${{line#-execute}}}}";; esac; done\n'
        )
        program.chmod(program.stat().st_mode | stat.S_IXUSR)
    monkeypatch.setenv("PATH", str(tmp_path) + (os.pathsep + os.defpath if version else ""))
    with pytest.raises(MissingTool, match=message) as caught, Embedder():
        pass
    for word in ("apt install", "dnf install", "brew install", "winget install"):
        assert word in str(caught.value)


def test_exactly_the_characters_that_unicode_and_xml_forbid_are_stripped() -> None:
    ends = (code for plane in range(17) for code in range((plane << 16) + 0xFF00, (plane << 16) + 0x10000))
    for code in (*range(0x3000), *range(0x3000, sys.maxunicode, 61), *ends):
        character = chr(code)
        is_control = unicodedata.category(character) in ("Cc", "Cs") and character not in "\t\n\r"
        # The Unicode Standard, 23.7: 66 non-characters
        forbidden = is_control or 0xFDD0 <= code <= 0xFDEF or code & 0xFFFE == 0xFFFE
        if forbidden != bool(clean(f"a{character}").stripped):
            pytest.fail(f"U+{code:04X}")
