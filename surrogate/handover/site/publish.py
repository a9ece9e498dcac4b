"""Publish the copies as a static site. Only what changed is made again; what is no longer shown goes first."""

from __future__ import annotations

import hashlib
import shutil
from collections.abc import Container, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import cache, partial
from importlib.resources import files
from pathlib import Path
from typing import TextIO

from surrogate._version import __version__
from surrogate.collection import paths, settings
from surrogate.collection.catalogue import open_catalogue
from surrogate.collection.files import disk_errors
from surrogate.collection.leaving import may_hold
from surrogate.collection.listing import Listing
from surrogate.errors import SurrogateError, WrongUse
from surrogate.handover.site import feeds, iiif, leaks, lists, pages, pictures, search, state
from surrogate.handover.site.addresses import Addresses, addresses, item_manifest
from surrogate.handover.site.addresses import pictures as folder_of
from surrogate.handover.site.gathering import Gathered, gather
from surrogate.handover.site.overview import Overview
from surrogate.handover.site.pictures import Job
from surrogate.handover.site.planned import Planned, fixed
from surrogate.handover.site.provenance import Signing, SigningKey
from surrogate.handover.site.shown import Item
from surrogate.handover.site.state import State

_STATIC = ("style.css", "search.js", "zoom.js")


class Leaked(SurrogateError):
    """Something on the site must not leave the house. ``leaks`` lists it."""

    def __init__(self, site: Path, found: Sequence[leaks.Leak]) -> None:
        first = "; ".join(f"{leak.file} {leak.what}" for leak in found[:3])
        super().__init__(
            f"{len(found)} thing(s) in {site} must not leave the house: {first}. Do not upload this folder. "
            "Correct the captions or the settings, then publish again."
        )
        self.leaks = tuple(found)


@dataclass(frozen=True)
class PublishReport:
    """What a run of publishing did. ``written`` and ``removed`` count pages and pictures."""

    site: Path
    shown: int
    hidden: int
    written: int
    removed: int


def _static(name: str) -> str:
    return (files("surrogate.handover") / "templates" / "site" / name).read_text("utf-8")


@cache
def _made_by() -> str:
    """Digest of the software that makes the pages: its version and templates."""
    folder = files("surrogate.handover") / "templates" / "site"
    texts = sorted((entry.name, entry.read_text("utf-8")) for entry in folder.iterdir())
    return hashlib.sha256(repr((__version__, texts)).encode()).hexdigest()


def _since(collection: Path) -> dict[str, str]:
    """When each original was taken in, by reference."""
    if not (collection / paths.CATALOGUE).is_file():
        return {}
    with open_catalogue(collection) as catalogue:
        return {line[1]: line[0] for line in reversed(catalogue.events()) if line[1] and line[2] == "taken in"}


def _iiif_manifest(overview: Overview, number: int, to: Addresses, stream: TextIO) -> None:
    stream.write(iiif.as_json(iiif.manifest(overview.load(number), to)))


@dataclass(frozen=True)
class _Items:
    """The items in view of what is to be written: lists, words, pictures to make, keys of all pictures."""

    overview: Overview
    index: search.Index
    jobs: list[Job]
    keys: set[str]


def _plan(gathered: Gathered, items: _Items, since: Mapping[str, str], to: Addresses) -> Iterator[Planned]:
    overview = items.overview
    site = pages.site_of(gathered.info, overview)
    for name in _STATIC:
        yield fixed(name, _static(name))
    yield from pages.front_and_search(site, gathered.story, overview, to)
    yield from pages.item_pages(site, overview, to)
    yield from lists.pages(site, overview)
    yield from pages.map_page(site, overview)
    for number, (card, digest) in enumerate(zip(overview.cards, overview.digests, strict=True)):
        yield Planned(item_manifest(card.name), f"{to} {digest}", partial(_iiif_manifest, overview, number, to))
    yield from iiif.collections(gathered.info, overview.cards, to)
    yield from items.index.pieces(overview.cards)
    yield feeds.feed(site, pages.description(gathered.story, overview), overview, since, to)
    yield from feeds.site_map(overview, to)
    yield from feeds.exports(site, overview, to)


@dataclass(frozen=True)
class _Before:
    """The site as the last run left it: what its pages and pictures were made from, and what lies there."""

    pages: Mapping[str, str]
    pictures: Mapping[str, tuple[str, str]]
    folders: frozenset[str]
    present: frozenset[str]

    def has(self, page: str, made_from: str) -> bool:
        """Whether this page lies there and was made from the same."""
        if self.pages.get(page) != made_from:
            return False
        return page in self.present or f"{page.rpartition('/')[0]}/" in self.present


def _before(site: Path, known: State) -> _Before:
    made, shown = known.pages(), known.pictures()
    # folders that hold nothing but what was made: one per picture, and one per item's manifest
    own = {folder_of(key) for key in shown}
    folders = frozenset(own | {path.rpartition("/")[0] for path in made if path.endswith("/manifest.json")})
    return _Before(made, shown, folders, frozenset(path for path, _ in leaks.walk(str(site), folders)))


def _read_items(
    known: State, before: _Before, secrets: leaks.Secrets, to: Addresses, signing: Signing | None
) -> _Items:
    """Go through all items once; what they say is taken out of the secrets."""
    items = _Items(Overview(known), search.Index(), [], set())
    for number, (described, record) in enumerate(known.items()):
        item = Item.model_validate_json(record)
        items.overview.add(item, record)
        items.index.add(number, item)
        secrets.is_public(leaks.public_text(item))
        items.keys.update(picture.key for picture in item.pictures)
        items.jobs.extend(pictures.jobs(number, item, described, before.pictures, before.present, to, signing))
    return items


def _remove_old(site: Path, known: State, before: _Before, planned: Container[str], keys: Container[str]) -> int:
    """Take away what is no longer shown; returns how many pages and pictures went."""
    removed = 0
    old_pictures = [key for key in before.pictures if key not in keys]
    for key in old_pictures:
        folder = site / folder_of(key)
        if folder.is_dir():
            shutil.rmtree(folder)
            removed += 1
    known.drop_pictures(old_pictures)
    old_pages = [path for path in before.pages if path not in planned]
    for path in old_pages:
        file = site / path
        if file.is_file():
            file.unlink()
            removed += 1
            if not any(file.parent.iterdir()):
                file.parent.rmdir()
    known.drop_pages(old_pages)
    return removed


def _write_pages(site: Path, known: State, plan: Sequence[tuple[Planned, str]]) -> list[Path]:
    """Write these pages (each with the digest of its inputs); returns their files."""
    written = []
    for planned, digest in plan:
        file = site / planned.path
        file.parent.mkdir(parents=True, exist_ok=True)
        with file.open("w", encoding="utf-8", newline="") as stream:
            planned.write(stream)
        known.put_page(planned.path, digest)
        written.append(file)
    return written


def _check_target(collection: Path, site: Path) -> None:
    if not may_hold(collection, site):
        raise WrongUse(f"{site} and the collection lie inside one another. Choose a folder elsewhere for the site.")


def _opened(key: SigningKey, collection: Path, site: Path) -> Signing:
    """The key, open. One that lies in the collection or on the site would be given away with it."""
    for file in (key.certificates, key.key):
        if any(file.resolve().is_relative_to(folder.resolve()) for folder in (collection, site)):
            raise WrongUse(f"{file} lies in a folder that is given away. Keep the key outside collection and site.")
    return Signing(key)


def publish(
    collection: Path,
    to: Path,
    base: str | None = None,
    today: date | None = None,
    signing_key: SigningKey | None = None,
    only: Sequence[str] | None = None,
) -> PublishReport:
    """Write the site of a collection into the folder ``to``; ``base`` is the address it will have.

    ``today`` decides which closed originals are open by now; with ``signing_key`` every picture is signed.
    ``only`` are the reference numbers that may be shown at all; None: every original.

    Raises :class:`Leaked` when the check at the end finds what must not be shown: the folder must not be uploaded
    then. Raises :class:`surrogate.errors.WrongUse` for an unsuitable target or address,
    :class:`surrogate.errors.CollectionUnusable` and :class:`surrogate.errors.DiskFull`.
    """
    _check_target(collection, to)
    address = addresses(base)
    signing = _opened(signing_key, collection, to) if signing_key else None
    rules = settings.read(collection).publish
    if only is not None:
        rules = rules.model_copy(update={"only": frozenset(only)})
    listing = Listing(collection)
    since = _since(collection)
    day = today or datetime.now(UTC).date()
    with state.opened(to) as known, disk_errors(to):
        before = _before(to, known)
        gathered = gather(collection, listing, rules, day, known)
        info = listing.head.collection
        secrets = gathered.kept.secrets(gathered.names, (info.name, info.credit, info.rights, rules.story))
        items = _read_items(known, before, secrets, address, signing)
        planned: set[str] = set()
        wanted: list[tuple[Planned, str]] = []
        for page in _plan(gathered, items, since, address):
            planned.add(page.path)
            digest = page.digest(_made_by())
            if not before.has(page.path, digest):
                wanted.append((page, digest))
        # What was found clean once is not gone through again; a changed secret makes all of it be read anew.
        new_only = known.checked == secrets.digest()
        known.checked = ""
        known.keep()
        removed = _remove_old(to, known, before, planned, items.keys)
        found: list[leaks.Leak] = []
        for file in pictures.write(collection, to, items.overview, items.jobs, known, address, signing):
            found += leaks.check_content(to, [file], secrets) if new_only else ()
        texts = _write_pages(to, known, wanted)
        closed = before.folders if new_only else frozenset[str]()
        found += leaks.check_files(to, leaks.walk(str(to), closed), gathered.kept)
        changed = texts if new_only else (to / path for path, _ in leaks.walk(str(to)))
        records = map(known.item, gathered.made) if new_only else (record for _, record in known.items())
        found += leaks.check_content(to, changed, secrets) + leaks.check_records(records, secrets)
        if found:
            raise Leaked(to, found)
        known.checked = secrets.digest()
    hidden = gathered.originals - gathered.shown
    return PublishReport(to, gathered.shown, hidden, len(items.jobs) + len(texts), removed)
