"""How originals are housed, kept and handled, by what they are made of: rules as data, each with its sources."""

from __future__ import annotations

from enum import StrEnum

from surrogate import film
from surrogate.care.sources import Rule
from surrogate.records import Grade, Kind, Original, Record


class Material(StrEnum):
    """What decides about housing and climate."""

    SILVER_PRINT = "silver print"
    COLOUR_PRINT = "colour print"
    FILM = "film negative"
    MAYBE_NITRATE = "film negative, may be nitrate"
    NEWSPRINT = "newspaper clipping"
    PAPER = "letter or document"
    ALBUM = "album page"
    UNKNOWN = "not known"


class Housing(Record):
    """The rules for one material."""

    enclosure: Rule
    storage: Rule
    handling: Rule
    position: Rule
    remove: Rule
    caution: Rule | None = None


def _rule(text: str, *sources: str) -> Rule:
    return Rule(text=text, sources=sources)


_SLEEVE = "uncoated polyester, polypropylene or polyethylene"
_FLAT = _rule("Flat, or upright in a full box with stiff dividers; a box is full when a finger's width is left.", "P1")
_FLAT_ONLY = _rule("Flat, with nothing heavy on top; large and brittle pieces each on a stiff board.", "P1")
_EDGES = _rule("Clean dry hands, held by the edges; support it from below with both hands.", "P1")
_GLOVES = _rule("Nitrile or clean cotton gloves, held by the edges; never touch the dull (emulsion) side.", "P1")
_FASTENERS = _rule("Take out rubber bands, clips and pins. Leave tape and glue to a conservator.", "E2")

HOUSING: dict[Material, Housing] = {
    Material.SILVER_PRINT: Housing(
        enclosure=_rule(f"Sleeve of {_SLEEVE}, or a lignin-free paper folder, buffered or not", "E2", "E3"),
        storage=_rule("Cool room: 18 °C or less, 30-50 % RH; no attic, cellar or outer wall", "C3", "C5"),
        handling=_GLOVES,
        position=_FLAT,
        remove=_FASTENERS,
        caution=_rule("Albumen, salted and platinum prints and blueprints: unbuffered paper only", "E3"),
    ),
    Material.COLOUR_PRINT: Housing(
        enclosure=_rule(f"Sleeve of {_SLEEVE}, or an unbuffered paper folder", "E2", "E5"),
        storage=_rule("Freezer: -3 °C or less, 30-50 % RH in sealed double bags; till then the coolest dry room", "C2"),
        handling=_GLOVES,
        position=_FLAT,
        remove=_FASTENERS,
        caution=_rule("Its dyes fade in the dark as well: each 6 °C cooler about halves the speed", "C6"),
    ),
    Material.FILM: Housing(
        enclosure=_rule(f"One sleeve each, of {_SLEEVE} or unbuffered paper; never a sealed can", "E2"),
        storage=_rule("Freezer or cold: colour film 2 °C at 20-30 % RH or -10 °C at 20-50 %; silver film 2 °C", "C1"),
        handling=_GLOVES,
        position=_rule("Upright in a box, or flat if it curls; never pressed or rolled up.", "P1"),
        remove=_FASTENERS,
        caution=_rule("Smells of vinegar, wavy or shrunken: keep apart and aired, copy first, freeze", "V1"),
    ),
    Material.MAYBE_NITRATE: Housing(
        enclosure=_rule(
            "One unbuffered paper sleeve each, in a vented box; never plastic and never a sealed can", "P1"
        ),
        storage=_rule("Apart from everything else, cool and aired; long term 2 °C or less at 20-30 % RH", "N3"),
        handling=_rule("Gloves, by the edges, in a well-aired room. No flame, no lamp, no warm scanner lid.", "P1"),
        position=_rule("Upright and loose, so that air can pass.", "P1"),
        remove=_rule("Touch nothing that is sticky, frothing or powdery: leave it and ask.", "P1"),
        caution=_rule(
            "May be nitrate: burns about 15 times as fast as wood, needs no air, its fumes are poisonous. Ask the fire "
            "brigade or an archive; local codes and licensed people decide on storing, posting and disposal",
            "N2",
        ),
    ),
    Material.NEWSPRINT: Housing(
        enclosure=_rule(f"Sleeve of {_SLEEVE} with a sheet of buffered paper behind; never beside photographs", "E2"),
        storage=_rule("Dark, 13-23 °C, 35-60 % RH, the cooler the better", "C4"),
        handling=_EDGES,
        position=_FLAT_ONLY,
        remove=_rule("Take out clips, pins and rubber bands. Do not unfold what cracks; leave tape alone.", "E2"),
        caution=_rule("It is acid and brittle: show the copy", "P1"),
    ),
    Material.PAPER: Housing(
        enclosure=_rule("Folder of buffered, lignin-free paper (pH 7.5-10, 2 % reserve)", "E4"),
        storage=_rule("Dark, 13-23 °C, 35-60 % RH", "C4"),
        handling=_EDGES,
        position=_FLAT,
        remove=_FASTENERS,
    ),
    Material.ALBUM: Housing(
        enclosure=_rule("Whole album in a box of its size; unbuffered tissue between pages if the spine allows", "E3"),
        storage=_rule("Dark, 13-18 °C, 35-50 % RH", "C3", "C4"),
        handling=_rule("Clean dry hands; support the open cover; turn pages by the outer corner.", "P1"),
        position=_FLAT_ONLY,
        remove=_rule(
            "Take nothing out of an album: the order is part of it. Self-stick pages: ask before lifting.", "E2"
        ),
        caution=_rule("Self-stick pages and PVC pockets harm photographs: copy these first", "E1"),
    ),
    Material.UNKNOWN: Housing(
        enclosure=_rule("Folder of unbuffered, lignin-free paper, until somebody knows what it is", "E3"),
        storage=_rule("Dark, cool and dry: 18 °C or less, 30-50 % RH", "C3", "C5"),
        handling=_GLOVES,
        position=_FLAT,
        remove=_FASTENERS,
    ),
}

NEVER = _rule(
    "Never: PVC (smells of shower curtain), glassine, self-stick pages, rubber bands, pins, tape, rubber cement, "
    "acid cardboard.",
    "E1",
    "E2",
)

MOULD = _rule(
    "Mould (fluffy or powdery spots, musty smell): close the box into a bag, put it in a dry place and stop. Wear an "
    "FFP2 mask and gloves; never brush it in the room, never put it on a scanner. With asthma or allergy stay away. "
    "Ask a conservator.",
    "M2",
)


def material(original: Original) -> Material | None:
    """What decides about an original's housing; None for a scanner target."""
    if original.kind is Kind.TARGET:
        return None
    if original.kind is Kind.NEGATIVE:
        reason = original.priority.reason.lower() if original.priority else ""
        suspected = film.nitrate(original.date, "", original.notes).suspected or "nitrate" in reason
        return Material.MAYBE_NITRATE if suspected else Material.FILM
    return {
        Kind.SILVER_PRINT: Material.SILVER_PRINT,
        Kind.COLOUR_PRINT: Material.COLOUR_PRINT,
        Kind.CLIPPING: Material.NEWSPRINT,
        Kind.DOCUMENT: Material.PAPER,
        Kind.ALBUM_PAGE: Material.ALBUM,
    }.get(original.kind, Material.UNKNOWN)


def unstable(original: Original) -> bool:
    """Whether an original is looked at in every round: film, newsprint, and what has changed severely."""
    grades = {grade for one in original.condition for grade in (one.fade.grade, one.stain.grade)}
    risky = {Material.MAYBE_NITRATE, Material.FILM, Material.NEWSPRINT}
    return material(original) in risky or Grade.SEVERE in grades


def side_mm(original: Original) -> tuple[float, float] | None:
    """Width and height of the scan in mm, from the first master that states its resolution."""
    for master in original.masters:
        if master.ppi:
            return master.width * 25.4 / master.ppi, master.height * 25.4 / master.ppi
    return None


#: Inner sizes of boxes and folders on sale, mm (the trade's inch sizes times 25.4; common practice, no source).
BOXES_MM = ((127, 178), (203, 254), (279, 356), (305, 406), (406, 508), (508, 610), (610, 914))

#: Room around the largest piece on each side (common practice, no source).
_ROOM_MM = 6.0


def box_for(sizes: list[tuple[float, float]]) -> tuple[int, int] | None:
    """The smallest box (short, long side, mm) that takes all of the sizes flat; None when none does."""
    short = max(min(size) for size in sizes) + 2 * _ROOM_MM
    long = max(max(size) for size in sizes) + 2 * _ROOM_MM
    return next((box for box in BOXES_MM if box[0] >= short and box[1] >= long), None)
