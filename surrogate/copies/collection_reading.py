"""What prints and labels read of a collection: the manifest, and the recipe of a viewing copy."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from pydantic import ValidationError

from surrogate.collection import paths, sets
from surrogate.errors import CollectionUnusable, ScanSetAside, WrongUse
from surrogate.records import Copy, Manifest, Master, Original, Side, Use
from surrogate.recovery.recipe import Recipe


def read_manifest(collection: Path) -> Manifest:
    """The manifest of a collection. Raises :class:`CollectionUnusable` when there is none or it is damaged."""
    path = collection / paths.MANIFEST
    try:
        return Manifest.model_validate_json(path.read_bytes())
    except FileNotFoundError as error:
        raise CollectionUnusable(f"{collection} holds no {paths.MANIFEST}: run 'surrogate process' first.") from error
    except (OSError, ValidationError, ValueError) as error:
        raise CollectionUnusable(f"{path} cannot be read. Run 'surrogate process', which writes it anew.") from error


@dataclass(frozen=True)
class Shown:
    """What a sheet shows: an original, or with ``part`` one of the pictures on its page. ``asked_as`` is the earlier
    number that it was asked for by, "" for its own.
    """

    original: Original
    part: int | None = None
    asked_as: str = ""

    @property
    def moved(self) -> list[str]:
        """What to say where it was asked for by an earlier number."""
        own = self.original.reference
        return [f"{self.asked_as} is the back of {own} now; this is the front."] if self.asked_as else []

    @property
    def number(self) -> str:
        """The reference number as people write it, ``2026.001.0001-p2`` for the second picture of a page."""
        return self.original.reference + ("" if self.part is None else f"-p{self.part}")


_PART = re.compile(r"(.+?)[-_ ]?p(\d{1,3})")


def numbers_asked(collection: Path, references: Sequence[str], box: str | None) -> list[str]:
    """The numbers that a sheet is for: those named, or with ``box`` those of the originals that lie in it.

    ``@NAME`` stands for the members of a set. Raises :class:`WrongUse` for a set that is not there, for a box that
    holds nothing, and where both are given.
    """
    if box is None:
        return sets.expanded(collection, references)
    if references:
        raise WrongUse("Give reference numbers or --box, not both.")
    boxes = {original.reference: original.location.box for original in read_manifest(collection).originals}
    inside = [reference for reference, its_box in boxes.items() if its_box.casefold() == box.strip().casefold()]
    if not inside:
        known = ", ".join(sorted({its_box for its_box in boxes.values() if its_box}))
        raise WrongUse(f"No original lies in box {box}." + (f" There are: {known}." if known else ""))
    return inside


def without_part(number: str) -> tuple[str, int | None]:
    """A number and the part that stands behind it, or None: ``2026.001.0001-p2`` is part 2 of 2026.001.0001."""
    match = _PART.fullmatch(number)
    return (match[1], int(match[2])) if match else (number, None)


def shown(manifest: Manifest, references: Sequence[str]) -> list[Shown]:
    """The originals with these numbers, or parts of them, in the order asked for; every original when none is named.

    A part is written behind its number: ``2026.001.0001-p2``. Case and spaces around a number do not matter. Raises
    :class:`WrongUse` naming those that are not there.
    """
    if not references:
        return [Shown(original) for original in manifest.originals]
    known = {number.casefold(): original for original in manifest.originals for number in original.earlier_numbers}
    known |= {original.reference.casefold(): original for original in manifest.originals}
    missing = []
    found: dict[str, Shown] = {}
    for reference in references:
        number = reference.strip().casefold()
        name, part = (number, None) if number in known else without_part(number)
        original = known.get(name)
        if original is None:
            missing.append(reference)
            continue
        earlier = next((each for each in original.earlier_numbers if each.casefold() == name), "")
        one = Shown(original, None if part is None else _part(original, part), earlier)
        found[one.number] = one
    if missing:
        raise WrongUse(f"Not in this collection: {', '.join(missing)}. The caption sheet lists every reference number.")
    return list(found.values())


def _part(original: Original, part: int) -> int:
    parts = sorted({copy.part for copy in original.copies if copy.part is not None})
    if part not in parts:
        has = f"parts {parts[0]} to {parts[-1]}" if parts else "no parts"
        raise WrongUse(f"There is no part {part} of {original.reference}: it has {has}.")
    return part


def chosen(manifest: Manifest, references: Sequence[str]) -> list[Original]:
    """The originals with these numbers, each once, as :func:`shown` finds them; a part stands for its original."""
    found = {each.original.reference: each.original for each in shown(manifest, references)}
    return list(found.values())


def master_of(original: Original) -> Master:
    """The side that shows the picture: the front, or the back when that is all there is."""
    if not original.masters:
        raise WrongUse(f"{original.reference} has no master in this collection: scan it and run 'surrogate process'.")
    return min(original.masters, key=lambda master: master.side != Side.RECTO)


def unreadable(master: Master, error: ScanSetAside) -> CollectionUnusable:
    """What a command says when a master cannot be read."""
    return CollectionUnusable(
        f"The master {master.file} cannot be read: {error.reason} Run 'surrogate audit' to find out whether it has "
        "changed since it was taken in."
    )


def copy_of(one: Shown, use: Use) -> Copy | None:
    """The copy of the side that shows the picture; None when there is none."""
    side = master_of(one.original).side
    found = (copy for copy in one.original.copies if (copy.use, copy.side, copy.part) == (use, side, one.part))
    return next(found, None)


def recipe_of(collection: Path, copy: Copy) -> Recipe | None:
    """The recipe that a copy was made by; None when it was made without one."""
    if copy.recipe is None:
        return None
    try:
        return Recipe.model_validate_json((collection / copy.recipe).read_bytes())
    except (OSError, ValidationError, ValueError) as error:
        raise CollectionUnusable(
            f"The recipe {copy.recipe} cannot be read. Run 'surrogate process' again, which writes it anew."
        ) from error
