"""Reading ``manifest.json``: whole, or one original at a time in constant memory."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

from pydantic import ValidationError

from surrogate.collection import paths
from surrogate.errors import CollectionUnusable
from surrogate.records import Manifest, Original

#: How the file is laid out around the originals (:mod:`surrogate.handover.manifest` writes it so). Line breaks inside
#: strings are escaped in JSON, so a bare line break is always one of the layout.
_BEFORE, _BETWEEN, _AFTER = b'  "originals": [\n', b"\n    },\n", b"\n  ],\n"

_CHUNK = 1 << 20


def _damaged(file: Path, error: ValidationError) -> CollectionUnusable:
    first = error.errors()[0]
    where = ".".join(str(part) for part in first["loc"]) or "the whole file"
    return CollectionUnusable(
        f"{file} is damaged: {where}: {first['msg']}. Run 'surrogate process' again to write it anew."
    )


def read(folder: Path) -> Manifest:
    """The manifest of the collection in ``folder``.

    Raises :class:`surrogate.errors.CollectionUnusable` when there is none or it is damaged.
    """
    file = folder / paths.MANIFEST
    try:
        return Manifest.model_validate_json(file.read_bytes())
    except FileNotFoundError as error:
        raise CollectionUnusable(
            f"{folder} holds no manifest.json. Run 'surrogate process' on it first, or name a collection folder."
        ) from error
    except ValidationError as error:
        raise _damaged(file, error) from error


def _find(stream: BinaryIO, wanted: bytes, start: int) -> int:
    """Where ``wanted`` begins in the stream, from ``start`` on; -1 when it is not there."""
    stream.seek(start)
    at, held = start, b""
    while chunk := stream.read(_CHUNK):
        held += chunk
        if (found := held.find(wanted)) >= 0:
            return at + found
        kept = held[-len(wanted) + 1 :]
        at += len(held) - len(kept)
        held = kept
    return -1


def _state(stream: BinaryIO) -> tuple[int, int]:
    """Tells a file from the one that replaced it."""
    found = os.fstat(stream.fileno())
    return found.st_ino, found.st_mtime_ns


class Listing:
    """The manifest of a collection, one original at a time: memory stays the same for any number of them.

    It relies on the layout that the manifest is written in; a file laid out otherwise is read whole.
    """

    def __init__(self, folder: Path) -> None:
        """Read all but the originals. Raises as :func:`read` does."""
        self._file = folder / paths.MANIFEST
        self._whole: Manifest | None = None
        self._begin = self._end = -1
        self._read_as = (0, 0)
        around = b""
        if self._file.is_file():
            with self._file.open("rb") as stream:
                self._read_as = _state(stream)
                if (before := _find(stream, _BEFORE, 0)) >= 0:
                    self._begin = before + len(_BEFORE)
                    self._end = _find(stream, _AFTER, self._begin)
                if self._end >= 0:
                    stream.seek(0)
                    around = stream.read(before) + b'  "originals": [],\n'
                    stream.seek(self._end + len(_AFTER))
                    around += stream.read()
        try:
            self.head = Manifest.model_validate_json(around)
        except ValidationError:
            self._whole = read(folder)
            self.head = self._whole.model_copy(update={"originals": []})

    def __iter__(self) -> Iterator[Original]:
        """Every original, by reference. Raises :class:`surrogate.errors.CollectionUnusable` at a damaged one."""
        return map(self.original, self.blocks())

    def blocks(self) -> Iterator[bytes]:
        """The JSON text of every original, by reference: what tells quickly whether anything changed.

        Raises :class:`surrogate.errors.CollectionUnusable` when the file was replaced since this listing was made.
        """
        if self._whole is not None:
            for original in self._whole.originals:
                yield original.model_dump_json(by_alias=True).encode()
            return
        with self._file.open("rb") as stream:
            if _state(stream) != self._read_as:
                raise CollectionUnusable(f"{self._file} was written anew in the meantime. Run the same command again.")
            stream.seek(self._begin)
            left, held = self._end - self._begin, b""
            while left and (chunk := stream.read(min(_CHUNK, left))):
                left -= len(chunk)
                *whole, held = (held + chunk).split(_BETWEEN)
                yield from (text + b"}" for text in whole)
            yield held

    def original(self, block: bytes) -> Original:
        """The original that a block of :meth:`blocks` speaks of. Raises as iterating does."""
        try:
            return Original.model_validate_json(block)
        except ValidationError as error:
            raise _damaged(self._file, error) from error
