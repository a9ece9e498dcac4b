"""Which pictures of the site must be made again, and making them."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from surrogate._version import __version__
from surrogate.handover.site import images
from surrogate.handover.site.addresses import Addresses, item_page, pictures
from surrogate.handover.site.overview import Overview
from surrogate.handover.site.planned import digest_of
from surrogate.handover.site.provenance import Signing, claim
from surrogate.handover.site.shown import Item, Picture
from surrogate.handover.site.state import State

#: Pictures after which the state is kept, so that an interrupted run goes on from there.
_KEEP_EVERY = 200


@dataclass(frozen=True)
class Job:
    """One picture to make. ``item`` is its place in the overview; the digests say what it is made from."""

    item: int
    key: str
    tiles: str
    described: str
    tiles_are_there: bool


def _described(item: Item, described: str, picture: Picture, to: Addresses, signing: Signing | None) -> str:
    seen = (picture.sha256, picture.thumbnail_sha256, picture.before_sha256, picture.width, picture.height)
    signed = (signing.digest, claim(item, picture)) if signing else ()
    return digest_of(__version__, described, seen, signed, to)


def jobs(
    number: int,
    item: Item,
    described: str,
    before: Mapping[str, tuple[str, str]],
    present: frozenset[str],
    to: Addresses,
    signing: Signing | None,
) -> Iterator[Job]:
    """Jobs for the pictures of one item that are missing or changed.

    ``described`` is the digest of what the item's pictures say of it; ``before`` is what the site's pictures were made
    from, ``present`` what lies in its folder.
    """
    for picture in item.pictures:
        tiles = f"{images.TILE_PX} {picture.sha256}"
        told = _described(item, described, picture, to, signing)
        old_tiles, old_told = before.get(picture.key, ("", ""))
        there = old_tiles == tiles and f"{pictures(picture.key)}/" in present
        if not (there and old_told == told):
            yield Job(number, picture.key, tiles, told, there)


def _make(collection: Path, site: Path, item: Item, job: Job, to: Addresses, signing: Signing | None) -> list[Path]:
    picture = next(picture for picture in item.pictures if picture.key == job.key)
    folder = site / pictures(job.key)
    if not job.tiles_are_there:
        images.write_tiles(collection, picture, folder)
    address = to.public_of(item_page(item.name))
    images.write_pictures(collection, item, picture, folder, address=address, signing=signing)
    images.write_info(picture, folder, to.of(pictures(job.key)))
    if not job.tiles_are_there:
        return [file for file in folder.rglob("*.*") if file.is_file()]
    return [*folder.glob("*.*"), *folder.glob("full/max/0/*.jpg")]


def write(
    collection: Path,
    site: Path,
    overview: Overview,
    wanted: Sequence[Job],
    known: State,
    to: Addresses,
    signing: Signing | None,
) -> Iterator[Path]:
    """Make pictures, with every core; yields the files written."""
    with ThreadPoolExecutor(max_workers=os.cpu_count()) as pool:
        for start in range(0, len(wanted), _KEEP_EVERY):
            batch = wanted[start : start + _KEEP_EVERY]
            made = [pool.submit(_make, collection, site, overview.load(job.item), job, to, signing) for job in batch]
            for job, done in zip(batch, made, strict=True):
                yield from done.result()
                known.put_picture(job.key, job.tiles, job.described)
            known.keep()
