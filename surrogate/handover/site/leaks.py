"""The last look before a site may leave: does anything in it say what must stay in the house?

Everything on the site is made from records that do not hold private things (:mod:`surrogate.handover.site.shown`).
This check trusts none of that: it reads what was written and compares it with what the collection keeps to itself.
"""

from __future__ import annotations

import hashlib
import html
import os
import re
from collections import defaultdict
from collections.abc import Container, Iterable, Iterator, Sequence
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path

from surrogate.collection import paths
from surrogate.collection.files import sha256_of
from surrogate.collection.numbering import name_of
from surrogate.handover.site.images import APP11, metadata_of
from surrogate.handover.site.shown import LIVING, Item
from surrogate.records import Original, Side

#: A private word is looked for when it has at least this many letters; shorter ones ("B2") stand everywhere by chance.
_LEAST_LETTERS = 4

_WORD = re.compile(r"\w+")
_ESCAPE = re.compile(r"\\u([0-9a-fA-F]{4})|\\[nrt\"/\\]")
_TEXT = frozenset({".html", ".json", ".js", ".xml", ".csv", ".css", ".txt", ".svg"})
_HOUSE_FILES = frozenset(
    {"collection.toml", "catalogue.sqlite", "captions.csv", "manifest.csv", "set_aside.csv", "report.html"}
)
_NEVER = frozenset({".tif", ".tiff", ".sqlite", ".toml", ".xmp", ".jp2"})


#: Stands between texts that are looked at together: a word that no secret holds.
_APART = " \ue000apart\ue000 "


@dataclass(frozen=True)
class Leak:
    """One thing on the site that should not be there."""

    file: str
    what: str


Words = tuple[str, ...]


def _words(text: str) -> Words:
    return tuple(_WORD.findall(text.casefold()))


class Secrets:
    """Texts that must not leave, ready to be looked for in other texts word by word."""

    def __init__(self, texts: Iterable[str]) -> None:
        self._by_first: dict[str, set[Words]] = defaultdict(set)
        for text in filter(None, texts):
            words = _words(text)
            if sum(map(len, words)) >= _LEAST_LETTERS and not (len(words) == 1 and words[0].isdigit()):
                self._by_first[words[0]].add(words)

    def found_in(self, text: str) -> set[Words]:
        """The secrets that stand in a text."""
        words = _words(text)
        if self._by_first.keys().isdisjoint(words):
            return set()
        return {
            secret
            for at, word in enumerate(words)
            for secret in self._by_first.get(word, ())
            if words[at : at + len(secret)] == secret
        }

    def forget(self, known: Iterable[Words]) -> None:
        """Take out what is no secret after all."""
        for words in known:
            self._by_first[words[0]].discard(words)

    def digest(self) -> str:
        """A digest of all secrets, to tell whether a site was checked against the same ones."""
        listed = sorted(secret for secrets in self._by_first.values() for secret in secrets)
        return hashlib.sha256(repr(listed).encode()).hexdigest()[:32]


def _kept_back(original: Original) -> Iterable[str]:
    """What an original that is not shown says about itself."""
    yield from (original.reference, original.title, original.caption, original.place, original.inscription)
    yield from (original.creator, *original.people)
    for side in Side:
        yield paths.stem(original.reference, side)


def _public_texts(items: Sequence[Item], more: Iterable[str]) -> Iterable[str]:
    yield from more
    for item in items:
        said = [item.reference, item.title, item.caption, item.when, item.date, item.place, item.inscription]
        said += [item.creator, item.credit, item.rights, item.kind, *item.people]
        for picture in item.pictures:
            said += [picture.key, *picture.words, "\n".join(line.text for line in picture.text)]
        yield _APART.join(said)
    for template in (files("surrogate.handover") / "templates" / "site").iterdir():
        yield template.read_text("utf-8")


def secrets_of(
    originals: Sequence[Original], items: Sequence[Item], names: Sequence[str], public: Iterable[str]
) -> Secrets:
    """What must not be found on the site.

    What the shown originals say in public is no secret where a hidden one says it too. ``names`` of living people
    stay secret whatever happens; ``public`` are the collection's own name, credit, rights and story.
    """
    shown = {item.reference for item in items}
    texts: list[str] = []
    for original in originals:
        place = original.location
        texts += [place.box, place.folder, place.enclosure, original.notes]
        texts += [master.file for master in original.masters]
        if original.reference not in shown:
            texts += _kept_back(original)
    people = {person for original in originals for person in original.people}
    texts += [person.strip()[: -len(LIVING)] for person in people if person.strip().lower().endswith(LIVING)]
    secrets = Secrets([*texts, *names])
    always = Secrets(names)
    for text in _public_texts(items, public):
        secrets.forget(secrets.found_in(text) - always.found_in(text))
    return secrets


def _readable(file: Path) -> str:
    text = file.read_text("utf-8", errors="replace")
    if file.suffix in {".json", ".js", ".html"}:
        text = _ESCAPE.sub(lambda match: chr(int(match[1], 16)) if match[1] else " ", text)
    return html.unescape(text) if file.suffix in {".html", ".xml", ".svg"} else text


def _in_picture(site: Path, file: Path, secrets: Secrets) -> Iterable[Leak]:
    path = file.relative_to(site).as_posix()
    try:
        blocks = metadata_of(file.read_bytes())
    except ValueError:
        yield Leak(path, "is not a sound JPEG")
        return
    whole = path.endswith("full/max/0/default.jpg")
    signature = [each for each in blocks if whole and each[0] == APP11 and each[1].startswith(b"JP")]
    if len(blocks) - len(signature) > (1 if whole or file.name == "thumbnail.jpg" else 0):
        yield Leak(path, "carries metadata that was not filtered")
    for _, block in blocks:
        for secret in secrets.found_in(html.unescape(block.decode("utf-8", "replace"))):
            yield Leak(path, f"carries in its metadata: {' '.join(secret)}")


def check_content(site: Path, written: Iterable[Path], secrets: Secrets) -> list[Leak]:
    """Leaks in the content of these files of the site."""
    leaks: list[Leak] = []
    for file in written:
        if file.suffix in _TEXT:
            path = file.relative_to(site).as_posix()
            leaks += [Leak(path, f"says: {' '.join(secret)}") for secret in sorted(secrets.found_in(_readable(file)))]
        elif file.suffix in {".jpg", ".jpeg"}:
            leaks += _in_picture(site, file, secrets)
    return leaks


def walk(folder: str, closed: Container[str] = ()) -> Iterator[tuple[str, int]]:
    """(path within the folder, bytes) of every file in it; folders in ``closed`` are named but not entered."""
    waiting = [(folder, "")]
    while waiting:
        place, within = waiting.pop()
        with os.scandir(place) as entries:
            for entry in entries:
                if f"{within}{entry.name}" in closed:
                    yield f"{within}{entry.name}/", 0
                elif entry.is_dir():
                    waiting.append((entry.path, f"{within}{entry.name}/"))
                else:
                    yield f"{within}{entry.name}", entry.stat().st_size


def check_files(
    site: Path, present: Iterable[tuple[str, int]], originals: Sequence[Original], items: Sequence[Item]
) -> list[Leak]:
    """Files that must not be there at all: masters under any name, the house's own lists, hidden originals.

    ``present`` is what :func:`walk` finds in the site.
    """
    by_size: dict[int, set[str]] = defaultdict(set)
    for original in originals:
        for master in original.masters:
            by_size[master.bytes].add(master.sha256)
    shown = {item.name for item in items}
    hidden = {name_of(original.reference) for original in originals} - shown
    leaks = []
    for path, size in present:
        name = path.rpartition("/")[2]
        if name in _HOUSE_FILES or f".{name.rpartition('.')[2].lower()}" in _NEVER:
            leaks.append(Leak(path, "belongs to the house, not on the site"))
        if hidden and not hidden.isdisjoint(part.partition("_")[0].partition(".")[0] for part in path.split("/")):
            leaks.append(Leak(path, "belongs to an original that is not shown"))
        if size in by_size and sha256_of(site / path) in by_size[size]:
            leaks.append(Leak(path, "is a master"))
    return leaks
