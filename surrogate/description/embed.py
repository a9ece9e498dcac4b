"""Put a description into copies and sidecars through ExifTool, and prove that it arrived."""

from __future__ import annotations

import atexit
import base64
import json
import os
import re
import shutil
import tempfile
from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from pathlib import Path
from types import TracebackType
from typing import Self

from PIL import ExifTags, Image

from surrogate.collection.files import publish
from surrogate.description.conversation import Conversation, plain_name
from surrogate.description.encodings import decode_legacy
from surrogate.description.tags import Description, Value, cleaned, exif_tags, iim_tags, xmp_tags
from surrogate.errors import EmbeddingFailed

__all__ = ["Description", "Embedder", "embedder"]

_READ = ("-json", "-struct", "-n", "-G1", "-a")
_BLOCKS = ("-XMP:all", "-IPTC:all", "-IFD0:all", "-ExifIFD:all")
# Everything in words, dates and numbers, but no pictures in small and no maker's own data.
_WORDS_OF_SCANS = (
    *("-b", "-XMP:all", "-IPTC:all", "-EXIF:all", "-Photoshop:IPTCDigest", "-File:CurrentIPTCDigest", "-File:Comment"),
    *("-PNG:all", "-x", "MakerNotes:all", "-x", "ThumbnailImage", "-x", "PreviewImage", "-x", "JpgFromRaw"),
)
# Written with every description: the character set of IIM (IIM 4.2, 1:90), and a fixed toolkit name, so that a
# newer ExifTool gives the same bytes.
_ALWAYS: Mapping[str, str] = {"XMP-x:XMPToolkit": "surrogate"}
# A file is emptied of words first, so that it ends up the same whatever it held before. In IFD0, which also
# describes the pixels of a TIFF, single fields are taken out instead: a value that no cleaned text can have says so.
_TAKE_OUT = "\x01"
_FOR_COPIES = (
    "-XMP:all=",
    "-IPTC:all=",
    "-Photoshop:all=",
    "-ExifIFD:all=",
    "-IPTC:CodedCharacterSet=UTF8",
    "-Photoshop:IPTCDigest=new",
    "-f",
    "-api",
    f"MissingTagValue={_TAKE_OUT}",
)
_COMMENT = "ExifIFD:UserComment"
_FILES_AT_ONCE = 64


class Embedder:
    """A context manager that owns one ExifTool process; one per worker (starting it takes about 0.2 s)."""

    def __init__(self) -> None:
        self._tool = Conversation()

    def __enter__(self) -> Self:
        """Start ExifTool; raises MissingTool when it is missing or too old."""
        self._tool.__enter__()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """End ExifTool."""
        self._tool.__exit__(kind, error, trace)

    def write(self, path: Path, description: Description) -> None:
        """Put a description into one JPEG or TIFF in place; see :meth:`write_many`."""
        self.write_many([(path, description)])

    def write_many(self, items: Sequence[tuple[Path, Description]]) -> None:
        """Put descriptions into JPEG and TIFF files in place, read them back and compare.

        Give files under temporary names: they are complete only when this returns. Pixels, colour profile and
        resolution stay as they are; nothing that changes from run to run is written. Raises EmbeddingFailed
        naming each file that does not hold what was written; the others are done.
        """
        failures: list[str] = []
        for start in range(0, len(items), _FILES_AT_ONCE):
            batch = [(path, cleaned(description)) for path, description in items[start : start + _FILES_AT_ONCE]]
            rows = [(path, {**xmp_tags(words), **iim_tags(words), **exif_tags(words)}) for path, words in batch]
            failures += self._write_rows(rows, with_iim=True)
        if failures:
            raise EmbeddingFailed(" ".join(failures))

    def rewrite_many(self, items: Sequence[tuple[Path, Description]]) -> None:
        """Replace the descriptions of finished copies: metadata only, no pixel is encoded again.

        Each file is replaced whole by a rename, so an interruption leaves the old file or the new one. Raises
        EmbeddingFailed as :meth:`write_many` does.
        """
        temporary: list[tuple[Path, Path, Description]] = []
        try:
            for path, description in items:
                beside = path.with_name(f".{path.stem}.part{path.suffix}")
                temporary.append((beside, path, description))
                shutil.copyfile(path, beside)
            self.write_many([(beside, description) for beside, _, description in temporary])
            for beside, path, _ in temporary:
                publish(beside, path)
        finally:
            for beside, _, _ in temporary:
                beside.unlink(missing_ok=True)

    def sidecar(self, path: Path, description: Description) -> None:
        """Write ``path`` (a ``.xmp`` file beside a master), replacing an older one whole."""
        self.sidecars([(path, description)])

    def sidecars(self, items: Sequence[tuple[Path, Description]]) -> None:
        """Write many sidecars in one go; raises EmbeddingFailed as :meth:`write_many` does."""
        temporary = [(path.with_name(f".{path.stem}.part.xmp"), path, words) for path, words in items]
        try:
            for beside, _, _ in temporary:
                beside.unlink(missing_ok=True)
            failures = self._write_rows(
                [(beside, xmp_tags(cleaned(words))) for beside, _, words in temporary], with_iim=False
            )
            if failures:
                raise EmbeddingFailed(" ".join(failures))
            for beside, path, _ in temporary:
                publish(beside, path)
        finally:
            for beside, _, _ in temporary:
                beside.unlink(missing_ok=True)

    def read(self, path: Path) -> dict[str, object]:
        """The words and dates that a scan carries, by ``group:tag``; {} when ExifTool cannot read it.

        Numbers come as text, structures as dictionaries, repeated fields as lists. Text in an unmarked encoding
        is told apart as :func:`surrogate.description.tables.decode` does.
        """
        found = self._read_rows([path], _WORDS_OF_SCANS).get(plain_name(path), {})
        return {tag: value for tag, value in ((tag, _decoded(value)) for tag, value in found.items()) if value != ""}

    def _write_rows(self, rows: Sequence[tuple[Path, Mapping[str, Value]]], *, with_iim: bool) -> list[str]:
        extra = _FOR_COPIES if with_iim else ()
        for path, _ in rows:
            # left by a run that was killed; ExifTool would refuse to write beside it
            Path(f"{plain_name(path)}_exiftool_tmp").unlink(missing_ok=True)
        payload = [
            {"SourceFile": plain_name(path)}
            | (_unknown_resolution(path) if with_iim else {})
            | {tag: _armoured(value) for tag, value in {**_ALWAYS, **tags}.items() if value or tag.startswith("IFD0")}
            for path, tags in rows
        ]
        with tempfile.TemporaryDirectory() as folder:
            file = Path(folder) / "words.json"
            file.write_text(json.dumps(payload, ensure_ascii=False), encoding="utf-8")
            names = [plain_name(path) for path, _ in rows]
            answer = self._tool.ask([f"-json={file}", "-overwrite_original", *extra, *names])
        found = self._read_rows([path for path, _ in rows], _BLOCKS)
        failures = []
        for path, tags in rows:
            wrong = differences(tags, found.get(plain_name(path), {}))
            if wrong == [_COMMENT] and comment_as_stored(path) == tags[_COMMENT]:
                continue  # ExifTool guesses the byte order of this field, and of a short text wrongly
            if wrong:
                said = f" ({answer.complaints})" if answer.complaints else ""
                failures.append(f"{path.name}: what was written could not be read back: {', '.join(wrong)}{said}.")
        return failures

    def _read_rows(self, paths: Sequence[Path], what: Iterable[str]) -> dict[str, dict[str, object]]:
        names = [plain_name(path) for path in paths]
        answer = self._tool.ask([*_READ, *what, *names])
        text = answer.output.decode("utf-8", errors="replace").strip()
        rows = json.loads(text, parse_float=str, parse_int=str, strict=False) if text else []
        return {str(row.pop("SourceFile")): row for row in rows}


def comment_as_stored(path: Path) -> str | None:
    """Exif's UserComment in the byte order of its file (Exif 2.32, 4.6.5), or None when there is none in UTF-16."""
    with Image.open(path) as image:
        exif = image.getexif()
        stored = exif.get_ifd(ExifTags.IFD.Exif).get(ExifTags.Base.UserComment)
    if not isinstance(stored, bytes) or not stored.startswith(b"UNICODE\x00"):
        return None
    return stored[8:].decode("utf-16-be" if exif.endian == ">" else "utf-16-le", errors="replace")


def _unknown_resolution(path: Path) -> dict[str, str]:
    """Fields for a JPEG that states no resolution: ExifTool would state 72 ppi with every Exif block it makes."""
    try:
        with Image.open(path) as image:
            stated = image.format != "JPEG" or image.info.get("dpi") or "jfif_unit" in image.info
    except OSError:
        return {}
    # unit 1 = no unit (TIFF 6.0, tag 296)
    return {} if stated else {"IFD0:XResolution": "1", "IFD0:YResolution": "1", "IFD0:ResolutionUnit#": "1"}


def differences(wanted: Mapping[str, Value], found: Mapping[str, object]) -> list[str]:
    """The fields whose value in a file is not the wanted one; an empty wanted value means absent."""
    return [tag for tag, value in wanted.items() if not _same(tag, value, found.get(tag, ""))]


def _same(tag: str, wanted: object, found: object) -> bool:
    if tag == "XMP-photoshop:DateCreated":  # ExifTool shows dates with colons
        return str(found).replace(":", "-") == wanted
    if tag == "IPTC:DateCreated":
        return str(found).replace(":", "") == wanted
    if isinstance(wanted, list) and isinstance(found, list):
        return len(wanted) == len(found) and all(_same("", a, b) for a, b in zip(wanted, found, strict=True))
    if isinstance(wanted, dict) and isinstance(found, dict):
        return wanted.keys() == found.keys() and all(_same("", wanted[key], found[key]) for key in wanted)
    if isinstance(found, bool):  # ExifTool writes the word "True" as a JSON truth value
        return str(wanted).lower() == str(found).lower()
    return (wanted or "") == (found or "")


def _armoured(value: Value) -> object:
    """Base64 keeps ExifTool from finding meaning in what a person wrote; an empty value takes the field out."""
    if not value:
        return _TAKE_OUT
    if isinstance(value, str):
        return "base64:" + base64.b64encode(value.encode()).decode()
    if isinstance(value, dict):
        return {key: _armoured(each) for key, each in value.items()}
    return [_armoured(each) for each in value]


def _decoded(value: object) -> object:
    """Text that is no UTF-8 comes from ExifTool in base64; what is no text either is left out ("")."""
    if isinstance(value, bool):  # ExifTool writes the words true and false as JSON truth values
        return str(value).lower()
    if isinstance(value, list):
        return [_decoded(each) for each in value]
    if not isinstance(value, str) or not value.startswith("base64:"):
        return value
    try:
        data = base64.b64decode(value.removeprefix("base64:"), validate=True)
    except ValueError:
        return value
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        return decode_legacy(data) if not re.search(rb"[\x00-\x08\x0e-\x1f]", data) else ""
    return value  # a person's own words that begin with "base64:"


@cache
def embedder() -> Embedder:
    """This process's own ExifTool, started when first needed and ended with the process."""
    tool = Embedder()
    tool.__enter__()
    atexit.register(tool.__exit__, None, None, None)
    return tool


if hasattr(os, "register_at_fork"):  # a forked process must not speak to its parent's ExifTool
    os.register_at_fork(after_in_child=embedder.cache_clear)
