"""Files that appear whole or not at all.

Everything is written under a temporary name in the target's own folder, flushed to the disk, and only then
renamed; the folder entry is flushed too, so that a power cut leaves either the old file or the new one.
"""

from __future__ import annotations

import errno
import filecmp
import hashlib
import os
import stat
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from io import FileIO
from pathlib import Path
from typing import TextIO

from surrogate.errors import CollectionUnusable, DiskFull

#: Suffix of files that are not finished. They are removed when the collection is next opened for writing.
UNFINISHED = ".unfinished"

#: Names that ExifTool and this software give to files while they write them.
_IN_WORK = (UNFINISHED, "_exiftool_tmp", ".part")

#: Bytes read at a time while copying; 1 MiB is past the knee of the curve on disks and network shares.
CHUNK = 1 << 20


@contextmanager
def disk_errors(path: Path) -> Iterator[None]:
    """Turn the operating system's errors on the collection's own files into sentences for people."""
    try:
        yield
    except OSError as error:
        if error.errno in {errno.ENOSPC, errno.EDQUOT}:
            raise DiskFull(
                f"The disk is full: could not write {path}. Free some space and run the same command again; "
                "what is already recorded is safe."
            ) from error
        if error.errno in {errno.EACCES, errno.EPERM, errno.EROFS}:
            raise CollectionUnusable(
                f"Not allowed to write {path}. Choose a folder you may write to, or ask its owner."
            ) from error
        if isinstance(error, (FileExistsError, NotADirectoryError)):
            raise CollectionUnusable(f"{path} is in the way: expected a folder there.") from error
        raise CollectionUnusable(
            f"{path} cannot be written: {error.strerror or error}. Check the disk or the network folder it lies on, "
            "then run the same command again; what is already recorded is safe."
        ) from error


#: What a system says when the disk or the machine behind a path no longer answers (POSIX.1-2017, <errno.h>).
_AWAY = {
    errno.EIO, errno.ENODEV, errno.ENXIO, errno.ESTALE, errno.ENOTCONN, errno.ETIMEDOUT, errno.EHOSTUNREACH,
    errno.ENETDOWN, errno.ENETUNREACH, errno.ECONNRESET, errno.ECONNABORTED,
}  # fmt: skip


def is_away(error: OSError, folder: Path) -> bool:
    """Whether an error on a file means that its whole ``folder`` went away, not that one file.

    A disk or network folder that was taken off leaves an empty folder, or none.
    """
    if error.errno in _AWAY and not isinstance(error, FileNotFoundError):
        return True
    try:
        return isinstance(error, FileNotFoundError) and not any(folder.iterdir())
    except OSError:
        return True


def unfinished_name(path: Path) -> Path:
    """The temporary name for ``path``, unique to this process."""
    return path.with_name(f".{path.name}.{os.getpid()}{UNFINISHED}")


def is_in_work(name: str) -> bool:
    """Whether a file of this name is not finished."""
    hidden = name.startswith(".") and (".part." in name or f"{UNFINISHED}." in name)
    return name.endswith(_IN_WORK) or hidden


def flush_folder(folder: Path) -> None:
    """Flush a folder's entries to the disk (nothing to do where the system has no such notion)."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def make_folders(folder: Path) -> None:
    """Make a folder and those around it, and bring the name of each new one to the disk."""
    missing = [each for each in (folder, *folder.parents) if not each.exists()]
    folder.mkdir(parents=True, exist_ok=True)
    for each in missing:
        flush_folder(each.parent)


def publish(temporary: Path, path: Path) -> None:
    """Flush a finished temporary file and give it its final name."""
    with temporary.open("rb+") as handle:
        os.fsync(handle.fileno())
    temporary.replace(path)
    flush_folder(path.parent)


def write_atomic(path: Path, content: bytes) -> None:
    """Write ``content`` to ``path`` whole or not at all; folders are made as needed.

    Raises :class:`DiskFull` or :class:`CollectionUnusable` with a sentence for people.
    """
    temporary = unfinished_name(path)
    with disk_errors(path):
        make_folders(path.parent)
        try:
            with temporary.open("wb") as handle:
                handle.write(content)
            publish(temporary, path)
        finally:
            temporary.unlink(missing_ok=True)


def replace_if_changed(path: Path, content: bytes) -> bool:
    """Like :func:`write_atomic`, but leave a file with the same bytes untouched. Returns whether it wrote."""
    if path.is_file() and path.stat().st_size == len(content) and path.read_bytes() == content:
        return False
    write_atomic(path, content)
    return True


@contextmanager
def replacing(path: Path) -> Iterator[TextIO]:
    """Yield a UTF-8 text stream whose content becomes ``path`` when the block ends without an error.

    Nothing is translated (line ends are written as given). A file with the same bytes is left untouched, so
    that its time stamp tells when its content last changed. Raises :class:`DiskFull` or
    :class:`CollectionUnusable`.
    """
    temporary = unfinished_name(path)
    with disk_errors(path):
        make_folders(path.parent)
        try:
            with temporary.open("w", encoding="utf-8", newline="", buffering=1 << 18) as stream:
                yield stream
            if not (path.is_file() and filecmp.cmp(temporary, path, shallow=False)):
                publish(temporary, path)
        finally:
            temporary.unlink(missing_ok=True)


def sha256_of(path: Path) -> str:
    """SHA-256 of a file as 64 hexadecimal digits, read in a stream."""
    with path.open("rb") as handle:
        return hashlib.file_digest(handle, "sha256").hexdigest()


def copy_hashed(source: Path, temporary: Path) -> tuple[str, int]:
    """Copy ``source`` byte for byte to ``temporary``, hashing on the way. Returns (SHA-256, bytes).

    The file is read once, and no further than it was long at first: a file that grows while it is read would have no
    end. Errors of the source are the caller's to explain; those of the target are explained
    here.
    """
    digest = hashlib.sha256()
    size = 0
    with ExitStack() as both:
        reader = both.enter_context(source.open("rb", buffering=0))
        with disk_errors(temporary):
            writer = both.enter_context(temporary.open("wb", buffering=0))
        length = os.fstat(reader.fileno()).st_size
        while size < length and (chunk := reader.read(min(CHUNK, length - size))):
            digest.update(chunk)
            with disk_errors(temporary):
                write_all(writer, chunk)
            size += len(chunk)
    return digest.hexdigest(), size


def write_all(writer: FileIO, content: bytes) -> None:
    """Write everything to an unbuffered file, which may take less at a time."""
    rest = memoryview(content)
    while rest:
        rest = rest[writer.write(rest) :]


def make_read_only(path: Path) -> None:
    """Take the right to write from everybody."""
    path.chmod(stat.S_IRUSR | stat.S_IRGRP | stat.S_IROTH)
