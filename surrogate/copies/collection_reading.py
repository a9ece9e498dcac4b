"""What prints and labels read of a collection: the manifest, and the recipe of a viewing copy."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from pydantic import ValidationError

from surrogate.collection import paths
from surrogate.errors import CollectionUnusable, WrongUse
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


def chosen(manifest: Manifest, references: Sequence[str]) -> list[Original]:
    """The originals with these reference numbers, in the order asked for; all when none is named.

    Case and spaces around a number do not matter. Raises :class:`WrongUse` naming those that are not there.
    """
    if not references:
        return list(manifest.originals)
    known = {original.reference.casefold(): original for original in manifest.originals}
    missing = [reference for reference in references if reference.strip().casefold() not in known]
    if missing:
        raise WrongUse(f"Not in this collection: {', '.join(missing)}. The caption sheet lists every reference number.")
    return [known[number] for number in dict.fromkeys(reference.strip().casefold() for reference in references)]


def master_of(original: Original) -> Master:
    """The side that shows the picture: the front, or the back when that is all there is."""
    if not original.masters:
        raise WrongUse(f"{original.reference} has no master in this collection: scan it and run 'surrogate process'.")
    return min(original.masters, key=lambda master: master.side != Side.RECTO)


def copy_of(original: Original, use: Use, side: Side) -> Copy | None:
    """A copy of one side; of a page in parts, the first."""
    found = [copy for copy in original.copies if copy.use == use and copy.side == side]
    return min(found, key=lambda copy: copy.part or 0, default=None)


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
