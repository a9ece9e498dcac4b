"""Publish the copies as a static site. Only what changed is made again; what is no longer shown goes first."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import cache, partial
from importlib.resources import files
from pathlib import Path

from surrogate._version import __version__
from surrogate.collection import listing, paths, settings
from surrogate.collection.catalogue import open_catalogue
from surrogate.collection.files import disk_errors
from surrogate.errors import SurrogateError, WrongUse
from surrogate.handover.site import feeds, iiif, images, leaks, lists, pages, search, shown, state
from surrogate.handover.site.addresses import Addresses, addresses, item_manifest, item_page, pictures
from surrogate.handover.site.planned import Planned, fixed
from surrogate.handover.site.provenance import Signing, SigningKey, claim
from surrogate.handover.site.shown import Item, Picture
from surrogate.handover.site.state import State
from surrogate.records import Manifest

#: Pictures after which the state is kept, so that an interrupted run goes on from there.
_KEEP_EVERY = 200

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


def _as_json(content: object) -> str:
    return json.dumps(content, ensure_ascii=False, indent=1) + "\n"


def _iiif_manifest(item: Item, to: Addresses) -> str:
    return _as_json(iiif.manifest(item, to))


def _plan(
    whole: Manifest, story: str, items: Sequence[Item], since: Mapping[str, str], to: Addresses
) -> Iterator[Planned]:
    site = pages.site_of(whole.collection, story, items)
    for name in _STATIC:
        yield fixed(name, _static(name))
    yield from pages.front_and_search(site, items, to)
    yield from pages.item_pages(site, items, to)
    yield from lists.pages(site, items)
    yield from pages.map_page(site, items)
    for item in items:
        yield Planned(item_manifest(item.name), repr((item.digest, to)), partial(_iiif_manifest, item, to))
    for path, content in iiif.collections(whole.collection, items, to):
        yield fixed(path, _as_json(content))
    for path, text in search.pieces(items):
        yield fixed(path, text)
    yield feeds.feed(site, items, since, to)
    yield from feeds.site_map(items, to)
    yield from feeds.exports(site, items, to)


@dataclass(frozen=True)
class _Run:
    collection: Path
    site: Path
    to: Addresses
    before: State
    present: frozenset[str]
    signing: Signing | None


def _digest(*parts: object) -> str:
    return hashlib.sha256(repr(parts).encode()).hexdigest()[:32]


def _tiles_digest(picture: Picture) -> str:
    return _digest("tiles", images.TILE_PX, picture.sha256)


def _picture_digest(item: Item, picture: Picture, run: _Run) -> str:
    to = run.to
    signed = (run.signing.digest, claim(item, picture)) if run.signing else ()
    seen = (picture.sha256, picture.thumbnail_sha256, picture.before)
    service = to.of(pictures(picture.key))
    return _digest(
        "picture", __version__, seen, signed, service, images.xmp_packet(item, to.public_of(item_page(item.name)))
    )


def _made_folders(known: State) -> frozenset[str]:
    """Folders that hold nothing but what was made last time: one per picture, and one per item's manifest."""
    own = {pictures(key) for key in known.tiles}
    return frozenset(own | {path.rpartition("/")[0] for path in known.pages if path.endswith("/manifest.json")})


def _remove_old(run: _Run, planned: Mapping[str, str], keys: Mapping[str, str]) -> int:
    """Take away what is no longer shown; returns how many pages and pictures went."""
    removed = 0
    for key in (run.before.tiles.keys() | run.before.pictures.keys()) - keys.keys():
        folder = run.site / pictures(key)
        if folder.is_dir():
            shutil.rmtree(folder)
            removed += 1
    for path in run.before.pages.keys() - planned.keys():
        file = run.site / path
        if file.is_file():
            file.unlink()
            removed += 1
            if not any(file.parent.iterdir()):
                file.parent.rmdir()
    return removed


def _write_pictures(run: _Run, items: Sequence[Item], current: State) -> tuple[State, list[list[Path]]]:
    """Make the pictures that changed; returns the state and the files written for each picture."""
    jobs = []
    tiles: dict[str, str] = {}
    described: dict[str, str] = {}
    for item in items:
        for picture in item.pictures:
            cut, told = _tiles_digest(picture), _picture_digest(item, picture, run)
            old = run.before.tiles.get(picture.key) == cut and f"{pictures(picture.key)}/" in run.present
            if old:
                tiles[picture.key] = cut
            if old and run.before.pictures.get(picture.key) == told:
                described[picture.key] = told
            else:
                jobs.append((item, picture, cut, told, old))

    def make(job: tuple[Item, Picture, str, str, bool]) -> list[Path]:
        item, picture, _, _, old = job
        folder = run.site / pictures(picture.key)
        if not old:
            images.write_tiles(run.collection, picture, folder)
        address = run.to.public_of(item_page(item.name))
        images.write_pictures(run.collection, item, picture, folder, address=address, signing=run.signing)
        images.write_info(picture, folder, run.to.of(pictures(picture.key)))
        if not old:
            return [file for file in folder.rglob("*.*") if file.is_file()]
        return [*folder.glob("*.*"), *folder.glob("full/max/0/*.jpg")]

    written = []
    current = current.model_copy(update={"tiles": tiles, "pictures": described})
    state.write(run.site, current)
    with ThreadPoolExecutor(max_workers=os.cpu_count()) as pool:
        for done, (job, made) in enumerate(zip(jobs, pool.map(make, jobs), strict=True), start=1):
            written.append(made)
            tiles[job[1].key], described[job[1].key] = job[2], job[3]
            if done % _KEEP_EVERY == 0:
                state.write(run.site, current)
    return current, written


def _write_pages(
    run: _Run, plan: Sequence[Planned], digests: Mapping[str, str], current: State
) -> tuple[State, list[Path]]:
    written = []
    for planned in plan:
        file = run.site / planned.path
        there = planned.path in run.present or f"{planned.path.rpartition('/')[0]}/" in run.present
        if there and run.before.pages.get(planned.path) == digests[planned.path]:
            continue
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(planned.make(), encoding="utf-8", newline="")
        written.append(file)
    return current.model_copy(update={"pages": dict(digests)}), written


def _check_target(collection: Path, site: Path) -> None:
    mine, theirs = collection.resolve(), site.resolve()
    if theirs.is_relative_to(mine) or mine.is_relative_to(theirs):
        raise WrongUse(f"{site} and the collection lie inside one another. Choose a folder elsewhere for the site.")


def publish(
    collection: Path,
    to: Path,
    base: str | None = None,
    today: date | None = None,
    signing_key: SigningKey | None = None,
) -> PublishReport:
    """Write the site of a collection into the folder ``to``; ``base`` is the address it will have.

    ``today`` decides which closed originals are open by now; with ``signing_key`` every picture is signed.

    Raises :class:`Leaked` when the check at the end finds what must not be shown: the folder must not be uploaded
    then. Raises :class:`surrogate.errors.WrongUse` for an unsuitable target or address,
    :class:`surrogate.errors.CollectionUnusable` and :class:`surrogate.errors.DiskFull`.
    """
    _check_target(collection, to)
    known = state.read(to)
    made = _made_folders(known)
    before = frozenset(path for path, _ in leaks.walk(str(to), made)) if to.is_dir() else frozenset()
    run = _Run(collection, to, addresses(base), known, before, Signing(signing_key) if signing_key else None)
    rules = settings.read(collection).publish
    whole = listing.read(collection)
    day = today or datetime.now(UTC).date()
    items = shown.items(collection, whole.collection, whole.originals, rules, day)
    names = shown.withheld_names(whole.originals, rules)
    told = shown.redactor(names)
    info = whole.collection
    public = whole.model_copy(
        update={"collection": info.model_copy(update={"name": told(info.name), "rights": told(info.rights)})}
    )
    plan = list(_plan(public, told(rules.story), items, _since(collection), run.to))
    digests = {planned.path: planned.digest(_made_by()) for planned in plan}
    keys = {picture.key: picture.sha256 for item in items for picture in item.pictures}
    with disk_errors(to):
        to.mkdir(parents=True, exist_ok=True)
        same = {path: digest for path, digest in run.before.pages.items() if digests.get(path) == digest}
        removed = _remove_old(run, digests, keys)
        current, remade = _write_pictures(run, items, State(pages=same))
        current, texts = _write_pages(run, plan, digests, current)
    secrets = leaks.secrets_of(whole.originals, items, names, (info.name, info.credit, info.rights, rules.story))
    # What was found clean once is not gone through again; a changed secret makes all of it be read anew.
    clean = run.before.checked == secrets.digest()
    present = list(leaks.walk(str(to), made if clean else ()))
    found = leaks.check_files(to, present, whole.originals, items)
    changed = [*texts, *(file for made in remade for file in made)]
    if not clean:
        changed = [to / path for path, _ in present]
    found += leaks.check_content(to, changed, secrets)
    if found:
        raise Leaked(to, found)
    state.write(to, current.model_copy(update={"checked": secrets.digest()}))
    return PublishReport(to, len(items), len(whole.originals) - len(items), len(remade) + len(texts), removed)
