"""What is embedded in a copy: the words of its original, which master it is of, and what was done to it."""

from __future__ import annotations

from surrogate.description import faces
from surrogate.description.embed import Description
from surrogate.description.faces import Face
from surrogate.records import GivenProfile, Kind, Manifest, Master, Original, Side, Use
from surrogate.recovery.recipe import Recipe


def words_of(manifest: Manifest, original: Original) -> Description:
    """The words of an original as its manifest has them."""
    return Description(
        reference=original.reference,
        title=original.title,
        caption=original.caption,
        inscription=original.inscription,
        date=original.date,
        people=original.people,
        place=original.place,
        creator=original.creator,
        credit=manifest.collection.credit,
        rights=original.rights or manifest.collection.rights,
    )


def describe_copy(description: Description, master: Master, recipe: Recipe, use: Use) -> Description:
    """The description of one copy: what it shows, which master it is of, and what was done, in words."""
    what = "thumbnail" if use is Use.THUMBNAIL else f"{use} copy"
    done = recipe.words or ["tone and colour left as scanned"]
    if recipe.outline is not None:
        done = ["trimmed to the picture's edge and straightened", *done]
    if recipe.given_profile is not None:
        done = [f"colours read through the scanner profile {named(recipe.given_profile)}", *done]
    if recipe.part is not None:
        what += f" of part {recipe.part}"
    film = "negativeFilm" if recipe.kind == Kind.NEGATIVE.value else "print"
    return description.model_copy(
        update={
            "source_type": "algorithmicallyEnhanced" if recipe.steps else film,
            "source": f"{master.file} sha256:{master.sha256}",
            "derived_from": master.file,
            "history": [f"{what} made by {recipe.software}", *done, *description.history],
            "software": recipe.software,
            "faces": _faces(description, master, recipe),
        }
    )


def named(given: GivenProfile) -> str:
    """A scanner's profile in words: its name, and where the collection keeps it."""
    return f"“{given.name}” ({given.file})"


def _faces(description: Description, master: Master, recipe: Recipe) -> list[Face]:
    """The faces on a copy of the front; people marked them on the scan."""
    if master.side is not Side.RECTO:
        return []
    shown = faces.on_copy(description.faces, master.width, master.height, recipe.turn, recipe.outline)
    if recipe.print_size_px is None or recipe.print_box_px is None:
        return shown
    width, height = recipe.print_size_px
    left, top, box_width, box_height = recipe.print_box_px
    on_print = (
        Face(
            name=face.name,
            x=round((left + face.x * box_width) / width, 4),
            y=round((top + face.y * box_height) / height, 4),
            r=round(face.r * box_width / width, 4),
        )
        for face in shown
    )
    return [face for face in on_print if 0 <= face.x <= 1 and 0 <= face.y <= 1]
