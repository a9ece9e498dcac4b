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
from surrogate.handover.site import state
from surrogate.handover.site.images import APP11, metadata_of
from surrogate.handover.site.shown import Item, living
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
#: What the site remembers by itself, with the file that SQLite keeps beside it while writing.
_STATE = frozenset({state.FILE_NAME, f"{state.FILE_NAME}-journal"})
#: The place of a master in the collection (``masters/GROUP/NAME_r.tif``).
_MASTER = re.compile(r"\bmasters/[^\s/<>\"']+/[^\s/<>\"']+_[rv]\.\w+")

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

    def __init__(self, texts: Iterable[str], always: Iterable[str] = ()) -> None:
        """``always`` are those among ``texts`` that stay secret even where they are said in public."""
        self._by_first: dict[str, set[Words]] = defaultdict(set)
        self._always = {_words(text) for text in always}
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

    def is_public(self, text: str) -> None:
        """Take out what is no secret after all, since this text is public."""
        for words in self.found_in(text) - self._always:
            self._by_first[words[0]].discard(words)

    def digest(self) -> str:
        """A digest of all secrets, to tell whether a site was checked against the same ones."""
        listed = sorted(secret for secrets in self._by_first.values() for secret in secrets)
        return hashlib.sha256(repr(listed).encode()).hexdigest()[:32]


class Kept:
    """What must stay in the house, gathered one original at a time.

    ``hidden`` are the file names of originals that are not shown, ``masters`` the checksums of masters by their bytes.
    """

    def __init__(self) -> None:
        self.hidden: set[str] = set()
        self.masters: dict[int, set[str]] = defaultdict(set)
        self._texts: set[str] = set()

    def add(self, original: Original, *, shown: bool) -> None:
        """Take in what an original keeps to itself: box and notes always, everything when it is not shown."""
        place = original.location
        self._texts.update((place.box, place.folder, place.enclosure, original.notes))
        self._texts.update(living(original.people))
        for master in original.masters:
            self.masters[master.bytes].add(master.sha256)
        if not shown:
            self.hidden.add(name_of(original.reference))
            self._texts.update((original.reference, original.title, original.caption, original.place))
            self._texts.update((original.inscription, original.creator, *original.people))
            self._texts.update(paths.stem(original.reference, side) for side in Side)

    def secrets(self, names: Sequence[str], public: Iterable[str]) -> Secrets:
        """What must not be found on the site. ``names`` of living people stay secret whatever happens.

        ``public`` are the collection's own name, credit, rights and story.
        """
        secrets = Secrets([*self._texts, *names], always=names)
        for text in public:
            secrets.is_public(text)
        for template in (files("surrogate.handover") / "templates" / "site").iterdir():
            secrets.is_public(template.read_text("utf-8"))
        return secrets


def public_text(item: Item) -> str:
    """Everything that an item says in public: no secret where a hidden original says it too."""
    said = [item.reference, item.title, item.caption, item.when, item.date, item.place, item.inscription]
    said += [item.creator, item.credit, item.rights, item.kind, *item.people, *item.subjects]
    for picture in item.pictures:
        said += [picture.key, *picture.words, "\n".join(line.text for line in picture.text)]
    return _APART.join(said)


def _unescaped(text: str) -> str:
    return _ESCAPE.sub(lambda match: chr(int(match[1], 16)) if match[1] else " ", text)


def _readable(file: Path) -> str:
    text = file.read_text("utf-8", errors="replace")
    if file.suffix in {".json", ".js", ".html"}:
        text = _unescaped(text)
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


def _in_text(path: str, text: str, secrets: Secrets) -> Iterator[Leak]:
    for secret in sorted(secrets.found_in(text)):
        yield Leak(path, f"says: {' '.join(secret)}")
    for master in _MASTER.findall(text):
        yield Leak(path, f"names a master: {master}")


def check_records(records: Iterable[str], secrets: Secrets) -> list[Leak]:
    """Leaks in what the site remembers of its items."""
    return [leak for record in records for leak in _in_text(state.FILE_NAME, _unescaped(record), secrets)]


def check_content(site: Path, written: Iterable[Path], secrets: Secrets) -> list[Leak]:
    """Leaks in the content of these files of the site."""
    leaks: list[Leak] = []
    for file in written:
        if file.suffix in _TEXT:
            leaks += _in_text(file.relative_to(site).as_posix(), _readable(file), secrets)
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


def check_files(site: Path, present: Iterable[tuple[str, int]], kept: Kept) -> list[Leak]:
    """Files that must not be there at all: masters under any name, the house's own lists, hidden originals.

    ``present`` is what :func:`walk` finds in the site.
    """
    leaks = []
    for path, size in present:
        name = path.rpartition("/")[2]
        of_the_house = name in _HOUSE_FILES or f".{name.rpartition('.')[2].lower()}" in _NEVER
        if of_the_house and path not in _STATE:
            leaks.append(Leak(path, "belongs to the house, not on the site"))
        if kept.hidden and not kept.hidden.isdisjoint(
            part.partition("_")[0].partition(".")[0] for part in path.split("/")
        ):
            leaks.append(Leak(path, "belongs to an original that is not shown"))
        if size in kept.masters and sha256_of(site / path) in kept.masters[size]:
            leaks.append(Leak(path, "is a master"))
    return leaks
