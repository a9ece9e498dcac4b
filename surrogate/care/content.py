"""What the care sheet says, as plain sections that a PDF and a page are made of."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from datetime import date, datetime, time

from surrogate.care import cold, light
from surrogate.care.days import in_words, lies
from surrogate.care.inspection import chosen, rounds
from surrogate.care.rules import HOUSING, MOULD, NEVER, Housing, Material, box_for, material, side_mm
from surrogate.care.section import Section, Table
from surrogate.care.sources import SOURCES, Rule
from surrogate.records import Manifest, Original, Record

#: References named in one line before "and more".
_NAMED = 8


class Known(Record):
    """What the sheet is made from besides the manifest: settings, and what people and loggers wrote down."""

    lux: float
    hours: float
    start: date
    wanted: date
    warnings: tuple[str, ...] = ()
    changed: tuple[str, ...] = ()
    pages: tuple[Section, ...] = ()


def sections(manifest: Manifest, known: Known) -> list[Section]:
    """The whole sheet: this month, one page a box, light, what was kept, cold, emergency, sources."""
    kept = [original for original in manifest.originals if material(original) is not None]
    boxes: dict[str, list[Original]] = {}
    for original in kept:
        boxes.setdefault(original.location.box, []).append(original)
    named = sorted(boxes.items(), key=lambda item: (item[0] == "", item[0]))
    return [
        _month(kept, known),
        *(_box(name, content) for name, content in named),
        _light(kept, known.lux, known.hours),
        *known.pages,
        _cold(known),
        _emergency(kept),
        _sources(),
    ]


def _ranked(originals: Iterable[Original]) -> list[Original]:
    return sorted(originals, key=lambda o: o.priority.rank if o.priority else 1_000_000)


def _place(original: Original) -> str:
    return lies(original.location) or "place not written down"


def _which(originals: list[Original]) -> str:
    more = f" and {len(originals) - _NAMED} more" if len(originals) > _NAMED else ""
    return ", ".join(original.reference for original in originals[:_NAMED]) + more


def _month(kept: list[Original], known: Known) -> Section:
    urgent = list(known.warnings)
    if known.changed:
        urgent.append(f"Changed since they were scanned: {', '.join(known.changed)}. House them better, and "
                      "keep them from light until it is known why. [P1]")  # fmt: skip
    if nitrate := [o for o in kept if material(o) is Material.MAYBE_NITRATE]:
        urgent.append(f"There may be nitrate film here: {_which(nitrate)}. Keep it apart, cool and aired, away from "
                      "flames, and ask the fire brigade or an archive before you move, post or throw away any of it. "
                      "[N2]")  # fmt: skip
    day = rounds(known.start)[0]
    to_do = (
        ("Ask what it shows, while those who know can tell, and write it into 'caption' of captions.csv",
         [o for o in kept if not (o.title or o.caption)]),
        ("Make a copy that is shown in its place: run 'surrogate process'", [o for o in kept if not o.copies]),
        ("Put it into a box, and write the box into 'box' of captions.csv", [o for o in kept if not o.location.box]),
    )  # fmt: skip
    rows = [(what, _which(which)) for what, which in to_do if which]
    looked_at = f"{len(chosen(kept, day))} originals; the sheet for them is inspection_round.pdf [Q1]"
    rows.append((f"On {in_words(day)}: look through the originals", looked_at))
    first = [(o.reference, _place(o), o.priority.reason if o.priority else "") for o in _ranked(kept)[:10]]
    return Section(
        title="What to do this month",
        urgent=tuple(urgent),
        tables=(
            Table(head=("To do", "Which"), rows=tuple(rows), widths=(90, 88)),
            Table(title="These first", head=("Reference", "Where", "Why"), rows=tuple(first), widths=(32, 46, 100)),
        ),
    )


def _box(name: str, content: list[Original]) -> Section:
    count = Counter(found for o in content if (found := material(o)))
    kinds = sorted(count, key=list(Material).index)
    sizes = [size for o in content if (size := side_mm(o))]
    fitting = box_for(sizes) if sizes else None
    said = [f"{len(content)} {'original' if len(content) == 1 else 'originals'}: "
            + ", ".join(f"{count[kind]} × {kind}" for kind in kinds) + "."]  # fmt: skip
    if fitting:
        said.append(f"The largest needs a box and folders of {fitting[0]} x {fitting[1]} mm inside. [P1]")
    elif sizes:
        said.append("The largest is bigger than any box on sale: keep it flat between two boards. [P1]")
    said.append(NEVER.cited())
    urgent = []
    if Material.MAYBE_NITRATE in kinds and len(kinds) > 1:
        urgent.append("Take what may be nitrate out of this box, and keep it apart. [N2]")
    if Material.NEWSPRINT in kinds and len(kinds) > 1:
        urgent.append("Take the clippings out of this box: their acid harms what lies beside them. [P1]")
    rows = []
    for original in content:
        size = side_mm(original)
        mm = f"{size[0]:.0f} x {size[1]:.0f}" if size else "not known"
        rows.append((original.reference, str(material(original)), mm, original.title or original.caption))
    held = Table(
        title="What lies here",
        head=("Reference", "Kind", "Size (mm)", "What it shows"),
        rows=tuple(rows),
        widths=(32, 50, 26, 70),
    )
    return Section(
        title=f"Box {name}" if name else "Not in a box yet",
        urgent=tuple(urgent),
        paragraphs=tuple(said),
        tables=(*(_rules(kind, HOUSING[kind]) for kind in kinds), held),
    )


def _rules(kind: Material, housing: Housing) -> Table:
    """The rules of one kind in the order of the hands: what it needs, then what to beware of."""
    rules = (
        ("Take out first", housing.remove),
        ("Put it into", housing.enclosure),
        ("Lay it", housing.position),
        ("Keep it at", housing.storage),
        ("Touch it with", housing.handling),
        ("Beware", housing.caution),
    )
    rows = tuple((label, _sentence(rule)) for label, rule in rules if rule is not None)
    return Table(title=kind.capitalize(), rows=rows)


def _sentence(rule: Rule) -> str:
    return f"{rule.text.rstrip('.')}. [{', '.join(rule.sources)}]"


def _years(years: float | None) -> str:
    """Years to two digits: more would be more than is known.

    >>> _years(0.684), _years(22.8), _years(684.9), _years(None)
    ('0.7', '23', '680', 'never')
    """
    if years is None:
        return "never"
    return f"{years:.1f}" if years < 10 else f"{float(f'{years:.2g}'):,.0f}"


def _light(kept: list[Original], lux: float, hours: float) -> Section:
    dose = light.dose_per_year(lux, hours)
    rows = []
    present = {found for o in kept if (found := material(o))}
    for kind in (kind for kind in Material if kind in present):
        how = light.SENSITIVITY[kind]
        years = [light.years_to_fade(light.NOTICEABLE_LXH[wool - 1], dose) for wool in (how.wools[0], how.wools[-1])]
        span = " to ".join(dict.fromkeys(_years(y) for y in years))
        days = "show the copy" if kind in light.NEVER_SHOWN else str(light.days_on_show(how, lux, hours))
        rows.append((str(kind), how.name, span, f"{how.yearly_limit_lxh:,.0f}", days))
    table = Table(
        head=("Kind", "Sensitivity", "Years to a noticeable fade", "Limit a year (lx h)", "Days a year"),
        rows=tuple(rows),
        widths=(46, 24, 44, 36, 28),
    )
    return Section(
        title="Light",
        paragraphs=(
            f"At {lux:g} lux for {hours:g} hours a day a year brings {dose:,.0f} lux hours. [L1, L2, L3]",
            (
                "Light adds up and is never repaired. Hang the copy; show an original only for the days in the table, "
                "then let it rest in the dark. Very sensitive photographs rest three years after a showing. [L4]"
            ),
            "This is guidance: dyes of one sort differ tenfold, and part of this fading happens in the dark too. [L2]",
        ),
        tables=(table, _LIGHT_RULES),
    )


_LIGHT_RULES = Table(
    title="How to go about it",
    rows=(
        (
            "A wall",
            (
                "Change what hangs so that none hangs longer than its days; two originals for one place halve the "
                "light on each. Film negatives are not hung. [L1, P1]"
            ),
        ),
        (
            "Write it down",
            (
                "In exhibitions.csv: what hung, from when to when, in how much light. What is used up is counted from "
                "there only. [P1]"
            ),
        ),
        (
            "Measure",
            (
                "Hold a lux meter flat against the picture, facing the room, where the light is strongest; at ten, at "
                "noon, at four and in the evening, with blinds and lamps as they usually are, in summer and in winter. "
                "Count the hours of each and take the mean. Do not shade the meter with your body. A telephone's meter "
                "may be wrong by half. [P1]"
            ),
        ),
        (
            "Ultraviolet",
            (
                "At most 75 µW/lm, with modern lamps 10: filtering glass, lamps without it, no daylight. A meter for "
                "it can be borrowed from a museum service. Ultraviolet yellows newsprint and speeds fading. [L2, L5]"
            ),
        ),
    ),
)


def _moment(moment: datetime) -> str:
    return f"{moment:%a} {moment.day} {moment:%b, %H:%M}"


def _cold(known: Known) -> Section:
    wanted = datetime.combine(known.wanted, time(10))
    rows: list[tuple[str, ...]] = []
    for name, mass, count in (("1 or 2 photographs", 0.02, 2), ("box of 3 kg", 3.0, 200), ("box of 8 kg", 8.0, 600)):
        plan = cold.timetable(wanted, mass, count)
        rows.append((name, *(_moment(moment) for moment in (plan.to_fridge, plan.to_room, plan.open_bag))))
    into = cold.packing(datetime.combine(known.start, time(10)))
    steps = (
        (known.start, "Lay sleeves and boxes open for two days in a room of 30 to 50 % humidity. [N1, P1]"),
        (
            into.pack,
            (
                "Pack: sleeve, then box, then two closed bags of polyethylene or polypropylene with the air pressed "
                "out, a humidity card between the bags where it can be read. Write on the bag what is in it. Put it "
                "into the refrigerator. [N1, P1]"
            ),
        ),
        (into.to_freezer, "Into the freezer, a frost-free one. [N1, P1]"),
        (
            into.check,
            "Read the card. Pink, or above 50 %: take the parcel out as below and pack it again. [N1, P1]",
        ),
    )
    return Section(
        title="Cold storage",
        urgent=(
            "Not into the freezer: glass plates, what is wet or mouldy, framed things, albums with wood or metal. [P1]",
        ),
        tables=(
            Table(
                title="Into the freezer, when begun today",
                rows=tuple((f"{day:%a} {day.day} {day:%b}", what) for day, what in steps),
            ),
            Table(
                title="Out again",
                rows=(
                    (
                        "How",
                        (
                            "One or two photographs warm in half an hour, a box in two to four hours. Do not open "
                            "before it no longer feels cold, never speed it with heat, and wipe off drops first. Cold "
                            "photographs are brittle: do not bend them. [N1]"
                        ),
                    ),
                    ("When", f"Bags are opened at 10:00 on {known.wanted:%A} {in_words(known.wanted)}, so: [N1, P1]"),
                ),
            ),
            Table(
                head=("Parcel", "Freezer to refrigerator", "Refrigerator to room", "Open the bag"),
                rows=tuple(rows),
                widths=(44, 46, 46, 42),
            ),
        ),
    )


def _emergency(kept: list[Original]) -> Section:
    safe = [o for o in _ranked(kept) if material(o) is not Material.MAYBE_NITRATE]
    rows = tuple((o.reference, _place(o), o.title or str(material(o))) for o in safe[:10])
    return Section(
        title="Fire, flood, mould",
        urgent=(
            (
                "People first. Call the fire brigade, leave, and go back only when they say so. Nothing here is worth "
                "a risk; copies of it exist. Burning nitrate film gives poisonous fumes: never try to put it out. [N2]"
            ),
        ),
        tables=(
            Table(
                rows=(
                    ("Water", "Power off before you step in. [M2]"),
                    (
                        "Wet photographs",
                        (
                            "Act within 48 hours. Rinse dirt off in clean cold water, do not touch the picture side, "
                            "lay them face up on blotting paper. What sticks together stays together, wet, in a "
                            "bag. [M2]"
                        ),
                    ),
                    (
                        "Too many for one day",
                        (
                            "Freeze prints, letters and clippings in bags, a few to a bag. Do not freeze glass plates; "
                            "dry them first. [M2, P1]"
                        ),
                    ),
                    ("Mould", MOULD.cited()),
                    ("Damp", "Nothing of note grows below 50 % humidity; dry the room, not the photographs. [M1]"),
                )
            ),
            Table(
                title="Save first, once it is safe",
                head=("Reference", "Where", "What it is"),
                rows=rows,
                widths=(32, 56, 90),
            ),
            Table(
                title="Numbers to call, to be written in",
                rows=tuple((who, "") for who in ("Fire brigade", "Conservator", "City archive", "Who has keys")),
            ),
        ),
    )


def _sources() -> Section:
    rows = tuple((source.key, source.title, source.mark.value) for source in SOURCES.values())
    table = Table(head=("Mark", "Source", "How it is known"), rows=rows, widths=(16, 116, 46))
    return Section(title="Where these rules come from", tables=(table,))
