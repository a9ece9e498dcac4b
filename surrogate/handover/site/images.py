"""Pictures for the site: copies freed of their metadata, a filtered description put in, and IIIF tiles.

A published picture has the same coded picture data as the collection's copy: only segments of metadata are taken out
and one is put in, so nothing is lost by publishing.
"""

from __future__ import annotations

import json
import shutil
import struct
from collections.abc import Iterator
from pathlib import Path
from xml.sax.saxutils import escape, quoteattr

import pyvips

from surrogate.collection.files import UNFINISHED
from surrogate.errors import CollectionUnusable
from surrogate.handover.site.provenance import Signing
from surrogate.handover.site.shown import Item, Picture
from surrogate.handover.xmlstream import clean

#: Edge of a tile. 512 keeps a picture of 2048 at 17 files, and a tile at about 40 kB.
TILE_PX = 512

#: JPEG quality of tiles; the whole picture keeps the quality of the copy.
_TILE_QUALITY = 85

_XMP_HEADER = b"http://ns.adobe.com/xap/1.0/\x00"
_ICC_HEADER = b"ICC_PROFILE\x00"

# Markers of ITU-T T.81, annex B, table B.1.
_SOI, _EOI, _SOS, _COM = 0xD8, 0xD9, 0xDA, 0xFE
_APP0, _APP1, _APP2, APP11, _APP15 = 0xE0, 0xE1, 0xE2, 0xEB, 0xEF

#: The largest content of one JPEG segment: a two-byte length that counts itself.
_SEGMENT_MOST = 0xFFFF - 2


def segments(jpeg: bytes) -> Iterator[tuple[int, bytes]]:
    """(marker, content) of each segment before the picture data, then (SOS, everything from there on).

    Raises ``ValueError`` when the bytes are not a JPEG.
    """
    if jpeg[:2] != bytes([0xFF, _SOI]):
        raise ValueError("not a JPEG")
    at = 2
    while at + 4 <= len(jpeg):
        if jpeg[at] != 0xFF:
            raise ValueError("a marker is missing")
        marker = jpeg[at + 1]
        if marker == 0xFF:
            at += 1
            continue
        if marker == _SOS:
            yield marker, jpeg[at:]
            return
        length = struct.unpack(">H", jpeg[at + 2 : at + 4])[0]
        yield marker, jpeg[at + 4 : at + 2 + length]
        at += 2 + length
    raise ValueError("the picture data is missing")


def _segment(marker: int, content: bytes) -> bytes:
    return bytes([0xFF, marker]) + struct.pack(">H", len(content) + 2) + content


def is_metadata(marker: int, content: bytes) -> bool:
    """Whether a segment speaks about the picture, rather than being needed to show it in its colours."""
    if marker == _APP2:
        return not content.startswith(_ICC_HEADER)
    return marker == _COM or (_APP1 <= marker <= _APP15)


def with_description(jpeg: bytes, xmp: str) -> bytes:
    """A JPEG without any metadata of its own and with this XMP packet (none when empty)."""
    kept, picture = [], b""
    for marker, content in segments(jpeg):
        if marker == _SOS:
            picture = content
        elif not is_metadata(marker, content):
            kept.append((marker, content))
    start = bytes([0xFF, _SOI])
    described = _segment(_APP1, _XMP_HEADER + xmp.encode()) if xmp else b""
    first = b"".join(_segment(*each) for each in kept if each[0] == _APP0)
    rest = b"".join(_segment(*each) for each in kept if each[0] != _APP0)
    return start + first + described + rest + picture


def metadata_of(jpeg: bytes) -> list[tuple[int, bytes]]:
    """(marker, content) of the metadata segments that a JPEG carries."""
    return [each for each in segments(jpeg) if each[0] != _SOS and is_metadata(*each)]


def _alternatives(tag: str, text: str) -> str:
    return f"<{tag}><rdf:Alt><rdf:li xml:lang='x-default'>{escape(clean(text))}</rdf:li></rdf:Alt></{tag}>"


def xmp_packet(item: Item, address: str) -> str:
    """The description of a published picture as XMP (ISO 16684-1): only what the item's page says too; ``address``
    is that page's, empty when the site has none yet.

    A very long caption is cut, so that the packet fits one JPEG segment.
    """
    caption = "\n".join(
        part for part in (item.caption, f"On the back: {item.inscription}" if item.inscription else "") if part
    )
    most = _SEGMENT_MOST // 2 - len(_XMP_HEADER)
    people = "".join(f"<rdf:li>{escape(clean(person))}</rdf:li>" for person in item.people)
    subjects = "".join(f"<rdf:li>{escape(clean(subject))}</rdf:li>" for subject in item.subjects)
    parts = [
        f"<dc:identifier>{escape(clean(item.reference))}</dc:identifier>",
        _alternatives("dc:title", item.heading),
        _alternatives("dc:description", caption[: most // 8]) if caption else "",
        _alternatives("dc:rights", item.rights) if item.rights else "",
        f"<dc:subject><rdf:Bag>{subjects}</rdf:Bag></dc:subject>" if subjects else "",
        f"<dc:creator><rdf:Seq><rdf:li>{escape(clean(item.creator))}</rdf:li></rdf:Seq></dc:creator>"
        if item.creator
        else "",
        f"<photoshop:Credit>{escape(clean(item.credit))}</photoshop:Credit>" if item.credit else "",
        f"<Iptc4xmpExt:PersonInImage><rdf:Bag>{people}</rdf:Bag></Iptc4xmpExt:PersonInImage>" if people else "",
    ]
    about = f" xmpRights:WebStatement={quoteattr(address)}" if address else ""
    return (
        "<?xpacket begin='\ufeff' id='W5M0MpCehiHzreSzNTczkc9d'?><x:xmpmeta xmlns:x='adobe:ns:meta/'>"
        "<rdf:RDF xmlns:rdf='http://www.w3.org/1999/02/22-rdf-syntax-ns#'><rdf:Description rdf:about=''"
        " xmlns:dc='http://purl.org/dc/elements/1.1/' xmlns:photoshop='http://ns.adobe.com/photoshop/1.0/'"
        " xmlns:xmpRights='http://ns.adobe.com/xap/1.0/rights/'"
        " xmlns:Iptc4xmpExt='http://iptc.org/std/Iptc4xmpExt/2008-02-29/'"
        f"{about}>{''.join(parts)}</rdf:Description></rdf:RDF></x:xmpmeta><?xpacket end='r'?>"
    )


def _read(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise CollectionUnusable(
            f"{path} cannot be read: {error.strerror}. Run 'surrogate audit', then publish again."
        ) from error


def _sizes(width: int, height: int) -> list[dict[str, int]]:
    """Sizes at which the whole picture lies ready beside ``max``: the smallest level of the pyramid."""
    scale = 1
    while max(-(-width // scale), -(-height // scale)) > TILE_PX:
        scale *= 2
    return [{"width": -(-width // scale), "height": -(-height // scale)}] if scale > 1 else []


def scale_factors(width: int, height: int) -> list[int]:
    """Scale factors of the tile pyramid: up to the level on which one tile holds the whole picture."""
    factors = [1]
    while max(-(-width // factors[-1]), -(-height // factors[-1])) > TILE_PX:
        factors.append(factors[-1] * 2)
    return factors


def info(picture: Picture, service: str) -> dict[str, object]:
    """``info.json`` of one picture (IIIF Image API 3.0, level 0); ``service`` is its address."""
    return {
        "@context": "http://iiif.io/api/image/3/context.json",
        "id": service,
        "type": "ImageService3",
        "protocol": "http://iiif.io/api/image",
        "profile": "level0",
        "width": picture.width,
        "height": picture.height,
        "sizes": _sizes(picture.width, picture.height),
        "tiles": [{"width": TILE_PX, "scaleFactors": scale_factors(picture.width, picture.height)}],
    }


def write_tiles(collection: Path, picture: Picture, folder: Path) -> None:
    """Cut the tiles of one picture into ``folder`` (``iiif/KEY``), replacing what was there."""
    source = collection / picture.file
    staging = folder.with_name(f".{folder.name}{UNFINISHED}")
    for old in (staging, folder):
        if old.exists():
            shutil.rmtree(old)
    staging.mkdir(parents=True)
    try:
        image = pyvips.Image.new_from_file(str(source), access="sequential", fail_on="error")
        suffix = f".jpg[Q={_TILE_QUALITY},keep=none]"
        image.dzsave(str(staging / folder.name), layout="iiif3", tile_size=TILE_PX, suffix=suffix)
        (staging / folder.name / "info.json").unlink()  # ours names its address and sizes
        (staging / folder.name).rename(folder)
    except pyvips.Error as error:
        raise CollectionUnusable(
            f"{source} cannot be read as a picture. Run 'surrogate audit', then publish again."
        ) from error
    finally:
        shutil.rmtree(staging)  # libvips leaves a file there that repeats the source's metadata


def write_pictures(
    collection: Path, item: Item, picture: Picture, folder: Path, *, address: str, signing: Signing | None
) -> None:
    """Write the whole picture, its thumbnail and, where allowed, the original as found into ``folder``."""
    xmp = xmp_packet(item, address)
    whole = folder / "full/max/0/default.jpg"
    whole.parent.mkdir(parents=True, exist_ok=True)
    described = with_description(_read(collection / picture.file), xmp)
    whole.write_bytes(signing.signed(described, item, picture) if signing else described)
    thumbnail = picture.thumbnail or picture.file
    (folder / "thumbnail.jpg").write_bytes(with_description(_read(collection / thumbnail), xmp))
    before = folder / "before.jpg"
    if picture.before:
        found = pyvips.Image.new_from_file(str(collection / picture.before), access="sequential")
        opaque = found.flatten(background=255) if found.hasalpha() else found
        opaque.write_to_file(str(before), Q=_TILE_QUALITY, keep="none")
    else:
        before.unlink(missing_ok=True)


def write_info(picture: Picture, folder: Path, service: str) -> None:
    """Write ``info.json`` of one picture; ``service`` is the address of its folder."""
    text = json.dumps(info(picture, service), indent=1)
    (folder / "info.json").write_text(text + "\n", encoding="utf-8")
