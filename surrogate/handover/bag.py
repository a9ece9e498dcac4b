"""Bags by RFC 8493 (BagIt 1.0): files with their checksums, so that anybody can tell whether all is there.

A bag is written in the open: payload files appear one by one, each whole; the lists and ``bagit.txt`` come last, so a
folder without ``bagit.txt`` is an unfinished bag that the same command finishes.
"""

from __future__ import annotations

import errno
import hashlib
import os
import re
import shutil
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from surrogate.collection.files import CHUNK, disk_errors, publish, unfinished_name, write_atomic
from surrogate.collection.leaving import BAG
from surrogate.errors import WrongUse

DECLARATION = BAG
INFO = "bag-info.txt"
_DECLARED = "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
_MANIFEST = re.compile(r"(tag)?manifest-(\w+)\.txt")


@dataclass(frozen=True)
class Entry:
    """One payload file: its path under ``data/``, where it comes from, and the SHA-256 it must have, if known."""

    path: str
    source: Path
    sha256: str | None = None


@dataclass(frozen=True)
class Finding:
    """One thing that is wrong with a bag."""

    path: str
    what: str


Digests = Mapping[str, str]

#: Checksums that manifests of this and other makers use (RFC 8493, 2.4; earlier drafts used MD5 and SHA-1).
ALGORITHMS = frozenset({"md5", "sha1", "sha224", "sha256", "sha384", "sha512"})


def digests_of(path: Path, algorithms: Sequence[str]) -> Digests:
    """Checksums of a file by algorithm, in hexadecimal; the file is read once."""
    hashes = {name: hashlib.new(name) for name in algorithms}
    with path.open("rb", buffering=0) as stream:
        while chunk := stream.read(CHUNK):
            for made in hashes.values():
                made.update(chunk)
    return {name: made.hexdigest() for name, made in hashes.items()}


def _link(source: Path, target: Path) -> None:
    try:
        os.link(source, target)
    except OSError as error:
        if error.errno in {errno.EXDEV, errno.EPERM, errno.ENOTSUP}:
            raise WrongUse(
                f"{target.parent} cannot share files with {source.parent} (another disk, or one without hard links). "
                "Hand over with copies instead."
            ) from error
        raise


def place(entry: Entry, target: Path, algorithms: Sequence[str], *, link: bool) -> Digests:
    """Put one payload file in its place, unless the same bytes lie there already; returns its checksums.

    With ``link`` the file is not copied but gets a second name (a hard link), on the same disk only.
    """
    if target.is_file() and target.stat().st_size == entry.source.stat().st_size:
        there = digests_of(target, algorithms)
        wanted = entry.sha256 or digests_of(entry.source, ["sha256"])["sha256"]
        if there["sha256"] == wanted:
            return there
    temporary = unfinished_name(target)
    with disk_errors(target):
        target.parent.mkdir(parents=True, exist_ok=True)
        try:
            if link:
                _link(entry.source, temporary)
            else:
                shutil.copyfile(entry.source, temporary)
                shutil.copystat(entry.source, temporary)
                temporary.chmod(0o644)
            digests = digests_of(temporary, algorithms)
            if link:
                temporary.replace(target)
            else:
                publish(temporary, target)
        finally:
            temporary.unlink(missing_ok=True)
    return digests


def encode_path(path: str) -> str:
    """A path as it stands in a manifest (RFC 8493, 2.1.3: only CR, LF and % are encoded)."""
    return path.replace("%", "%25").replace("\n", "%0A").replace("\r", "%0D")


def decode_path(path: str) -> str:
    """The reverse of :func:`encode_path`."""
    return re.sub("%(0[AaDd]|25)", lambda match: chr(int(match[1], 16)), path)


def _listing(digests: Mapping[str, Digests], algorithm: str) -> bytes:
    lines = (f"{digests[path][algorithm]}  {encode_path(path)}\n" for path in sorted(digests))
    return "".join(lines).encode()


def info_lines(info: Iterable[tuple[str, str]]) -> bytes:
    """``bag-info.txt``: one label and value a line; line breaks and runs of blanks in values become one blank."""
    return "".join(f"{label}: {' '.join(value.split())}\n" for label, value in info if value.split()).encode()


def finish(bag: Path, payload: Mapping[str, Digests], info: Iterable[tuple[str, str]], tags: Sequence[str]) -> None:
    """Write the lists of a bag whose payload is in place; ``tags`` are further files beside ``data/``.

    ``payload`` gives the checksums by path from the bag's root (``data/...``).
    """
    algorithms = list(next(iter(payload.values()))) if payload else ["sha256"]
    write_atomic(bag / INFO, info_lines(info))
    names = [INFO, *tags]
    for algorithm in algorithms:
        names.append(f"manifest-{algorithm}.txt")
        write_atomic(bag / names[-1], _listing(payload, algorithm))
    declared = {name: digests_of(bag / name, algorithms) for name in names}
    content = _DECLARED.encode()
    declared[DECLARATION] = {name: hashlib.new(name, content).hexdigest() for name in algorithms}
    for algorithm in algorithms:
        write_atomic(bag / f"tagmanifest-{algorithm}.txt", _listing(declared, algorithm))
    write_atomic(bag / DECLARATION, content)


def is_finished(bag: Path) -> bool:
    """Whether the folder is a bag with nothing left to write."""
    return (bag / DECLARATION).is_file()


def read_manifest(file: Path) -> Iterator[tuple[str, str]]:
    """(checksum, path) of each line of a manifest."""
    with file.open(encoding="utf-8", errors="replace", newline="\n") as lines:
        for line in lines:
            digest, _, path = line.rstrip("\r\n").partition(" ")
            if path.strip():
                yield digest.lower(), decode_path(path.lstrip(" *\t"))


def read_info(bag: Path) -> dict[str, str]:
    """``bag-info.txt`` as a table; of a repeated label the last value counts."""
    path = bag / INFO
    if not path.is_file():
        return {}
    unfolded = re.sub(r"\n[ \t]+", " ", path.read_text("utf-8", errors="replace"))
    pairs = (line.partition(":") for line in unfolded.splitlines() if ":" in line)
    return {label.strip(): value.strip() for label, _, value in pairs}


def _leads_out(path: str) -> bool:
    return (
        path.startswith(("/", "~")) or "\\" in path or ".." in path.split("/") or ":" in path.split("/", maxsplit=1)[0]
    )


def _lists(bag: Path) -> dict[str, dict[str, dict[str, str]]]:
    """{"" or "tag": {path: {algorithm: checksum}}} from every manifest of a bag."""
    lists: dict[str, dict[str, dict[str, str]]] = {"": {}, "tag": {}}
    for file in sorted(bag.iterdir()):
        match = _MANIFEST.fullmatch(file.name)
        if match and match[2] in ALGORITHMS:
            for digest, path in read_manifest(file):
                lists[match[1] or ""].setdefault(path, {})[match[2]] = digest
    return lists


def check(bag: Path) -> list[Finding]:
    """Everything that is wrong with a bag: files changed, missing, or there without being listed.

    Every file is read. Nothing is written. A file that its manifests disagree about counts as changed.
    """
    if not is_finished(bag):
        return [Finding(DECLARATION, "missing: this is not a bag, or the bag was never finished")]
    findings = []
    if (bag / DECLARATION).read_bytes().replace(b"\r\n", b"\n").decode("utf-8", "replace") != _DECLARED:
        findings.append(Finding(DECLARATION, "changed"))
    lists = _lists(bag)
    listed = lists[""] | lists["tag"]
    for path, wanted in sorted(listed.items()):
        file = bag / path
        if _leads_out(path):
            findings.append(Finding(path, "leads out of the bag"))
        elif not file.is_file():
            findings.append(Finding(path, "missing"))
        elif digests_of(file, list(wanted)) != wanted:
            findings.append(Finding(path, "changed"))
    present = {file.relative_to(bag).as_posix() for file in bag.rglob("*") if not file.is_dir()}
    unlisted = {path for path in present - set(listed) if not re.fullmatch(r"tagmanifest-\w+\.txt", path)}
    findings += [Finding(path, "not listed") for path in sorted(unlisted)]
    algorithms = {name for name in ALGORITHMS if list(bag.glob(f"*manifest-{name}.txt"))} or {"sha256"}
    for name in sorted(algorithms):
        pair = (f"manifest-{name}.txt", f"tagmanifest-{name}.txt")
        findings += [Finding(listing, "missing") for listing in pair if not (bag / listing).is_file()]
    findings += _check_oxum(bag, present)
    return findings


def oxum(sizes: Iterable[int]) -> str:
    """Payload-Oxum: bytes and number of files (RFC 8493, 2.2.2)."""
    total = files = 0
    for size in sizes:
        total += size
        files += 1
    return f"{total}.{files}"


def _check_oxum(bag: Path, present: set[str]) -> list[Finding]:
    stated = read_info(bag).get("Payload-Oxum")
    found = oxum((bag / path).stat().st_size for path in present if path.startswith("data/"))
    return [Finding(INFO, f"states {stated}, found {found}")] if stated not in {None, found} else []
