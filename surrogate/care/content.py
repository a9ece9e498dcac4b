"""What the care sheet says, as plain sections that a PDF and a page are made of."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime, time

from surrogate.care import cold, light
from surrogate.care.inspection import chosen, rounds
from surrogate.care.rules import HOUSING, MOULD, NEVER, Material, box_for, material, side_mm
from surrogate.care.section import Section
from surrogate.care.sources import SOURCES, Rule
from surrogate.records import Manifest, Original, Record


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
    location = original.location
    parts = [f"box {location.box}" if location.box else "", location.folder, location.enclosure]
    return ", ".join(part for part in parts if part) or "place not written down"


def _month(kept: list[Original], known: Known) -> Section:
    said = [f"Act at once: {line}" for line in known.warnings]
    if known.changed:
        said.append(f"Changed since they were scanned: {', '.join(known.changed)}. House them better, and "
                    "keep them from light until it is known why. [P1]")  # fmt: skip
    if any(material(o) is Material.MAYBE_NITRATE for o in kept):
        said.append("There may be nitrate film here. Keep it apart, cool and aired, away from flames, and ask the fire "
                    "brigade or an archive before you move, post or throw away any of it. [N2]")  # fmt: skip
    unnamed = sum(not (o.title or o.caption) for o in kept)
    uncopied = sum(not o.copies for o in kept)
    homeless = sum(not o.location.box for o in kept)
    if unnamed:
        said.append(f"{unnamed} of {len(kept)} have no caption: ask those who know, while they can tell.")
    if uncopied:
        said.append(f"{uncopied} have no copy to show in their place: run 'surrogate process'.")
    if homeless:
        said.append(f"{homeless} have no box written down: put them in one and fill in the column 'box'.")
    days = rounds(known.start)
    said.append(f"Next look through the originals: {days[0]:%d %B %Y} ({len(chosen(kept, days[0]))} to look at). [Q1]")
    rows = [["Do first", "Where", "Why"]]
    rows += [[o.reference, _place(o), o.priority.reason if o.priority else ""] for o in _ranked(kept)[:10]]
    return Section(
        title="What to do this month",
        paragraphs=tuple(said),
        table=tuple(tuple(row) for row in rows),
        widths=(32, 46, 100),
    )


def _box(name: str, content: list[Original]) -> Section:
    kinds = sorted({found for o in content if (found := material(o))}, key=lambda kind: list(Material).index(kind))
    sizes = [size for o in content if (size := side_mm(o))]
    fitting = box_for(sizes) if sizes else None
    said = [f"{len(content)} {'original' if len(content) == 1 else 'originals'}: {', '.join(kinds)}."]
    if fitting:
        said.append(f"The largest needs a box and folders of {fitting[0]} x {fitting[1]} mm inside. [P1]")
    elif sizes:
        said.append("The largest is bigger than any box on sale: keep it flat between two boards. [P1]")
    if Material.NEWSPRINT in kinds and len(kinds) > 1:
        said.append("Take the clippings out of this box: their acid harms what lies beside them. [P1]")
    if Material.MAYBE_NITRATE in kinds and len(kinds) > 1:
        said.append("Take what may be nitrate out of this box, and keep it apart. [N2]")
    for kind in kinds:
        housing = HOUSING[kind]
        rules: list[Rule] = [housing.enclosure, housing.storage, housing.handling, housing.position, housing.remove]
        lines = " ".join(_sentence(rule) for rule in rules)
        said.append(f"{kind.capitalize()}: {lines}" + (f" {_sentence(housing.caution)}" if housing.caution else ""))
    said.append(NEVER.cited())
    rows = [["Reference", "Kind", "Size (mm)", "What it shows"]]
    for original in content:
        size = side_mm(original)
        mm = f"{size[0]:.0f} x {size[1]:.0f}" if size else "not known"
        rows.append([original.reference, str(material(original)), mm, original.title or original.caption])
    return Section(
        title=f"Box {name}" if name else "Not in a box yet",
        paragraphs=tuple(said),
        table=tuple(tuple(row) for row in rows),
        widths=(32, 50, 26, 70),
    )


def _sentence(rule: Rule) -> str:
    return f"{rule.text.rstrip('.')} [{', '.join(rule.sources)}]."


def _light(kept: list[Original], lux: float, hours: float) -> Section:
    dose = light.dose_per_year(lux, hours)
    rows = [["Kind", "Sensitivity", "Years to a noticeable fade", "Limit a year (lx h)", "Days a year"]]
    present = {found for o in kept if (found := material(o))}
    for kind in (kind for kind in Material if kind in present):
        how = light.SENSITIVITY[kind]
        years = [light.years_to_fade(light.NOTICEABLE_LXH[wool - 1], dose) for wool in (how.wools[0], how.wools[-1])]
        span = " to ".join(dict.fromkeys("never" if y is None else f"{y:.1f}" for y in years))
        days = light.days_on_show(how, lux, hours)
        rows.append([str(kind), how.name, span, f"{how.yearly_limit_lxh:,.0f}", str(days)])
    return Section(
        title="Light",
        paragraphs=(
            f"At {lux:g} lux for {hours:g} hours a day a year brings {dose:,.0f} lux hours. [L1, L2, L3]",
            (
                "Light adds up and is never repaired. Hang the copy; show an original only for the "
                "days in the table, then "
                "let it rest in the dark. Very sensitive photographs rest three years after a showing. [L4]"
            ),
            (
                "On a wall with places for originals, change them so that none hangs longer than "
                "its days; two originals "
                "for one place halve the light on each. [L1]"
            ),
            (
                "To measure: hold a lux meter flat against the picture, facing the room, where the light is "
                "strongest; at "
                "ten, at noon, at four and in the evening, with blinds and lamps as they usually are, in summer and in "
                "winter. Count the hours of each and take the mean. Do not shade the meter with your body. A "
                "telephone's "
                "meter may be wrong by half. [P1]"
            ),
            (
                "Ultraviolet at most 75 µW/lm, with modern lamps 10: filtering glass, lamps without it, no daylight. A "
                "meter for it can be borrowed from a museum service. Ultraviolet yellows newsprint and speeds fading. "
                "[L2, L5]"
            ),
            "This is guidance: dyes of one sort differ tenfold, and part of this fading happens in the dark too. [L2]",
        ),
        table=tuple(tuple(row) for row in rows),
        widths=(48, 26, 46, 34, 24),
    )


def _moment(moment: datetime) -> str:
    return f"{moment:%a %d %b, %H:%M}"


def _cold(known: Known) -> Section:
    wanted = datetime.combine(known.wanted, time(10))
    rows: list[tuple[str, ...]] = [
        ("Out again: parcel", "Freezer to refrigerator", "Refrigerator to room", "Open the bag")
    ]
    for name, mass, count in (("1 or 2 photographs", 0.02, 2), ("box of 3 kg", 3.0, 200), ("box of 8 kg", 8.0, 600)):
        plan = cold.timetable(wanted, mass, count)
        rows.append((name, *(_moment(moment) for moment in (plan.to_fridge, plan.to_room, plan.open_bag))))
    into = cold.packing(datetime.combine(known.start, time(10)))
    return Section(
        title="Cold storage",
        paragraphs=(
            (
                f"Into the freezer, begun on {known.start:%A %d %B}. First, lay sleeves and boxes open for two days "
                "in a "
                f"room of 30 to 50 % humidity. Second, on {into.pack:%A %d %B}: sleeve, then box, then two closed "
                "bags of "
                "polyethylene or polypropylene with the air pressed out, a humidity card between the bags where it "
                "can be "
                "read; write on the bag what is in it; into the refrigerator. Third, on "
                f"{into.to_freezer:%A %d %B}: into the freezer, a frost-free one. Fourth, on {into.check:%A %d %B}: "
                "read "
                "the card; pink or above 50 %, take the parcel out as below and pack it again. [N1, P1]"
            ),
            "Not into the freezer: glass plates, what is wet or mouldy, framed things, albums with wood or metal. [P1]",
            (
                "Out again: one or two photographs warm in half an hour, a box in two to four hours. Do not open "
                "before "
                "it no longer feels cold, never speed it with heat, and wipe off drops first. Cold photographs are "
                "brittle: do not bend them. [N1]"
            ),
            f"Prints are wanted on {known.wanted:%A %d %B}, so at 10:00 the bags are opened: [N1, P1]",
        ),
        table=tuple(rows),
        widths=(44, 46, 46, 42),
    )


def _emergency(kept: list[Original]) -> Section:
    rows = [["Save first", "Where", "What it is"]]
    safe = [o for o in _ranked(kept) if material(o) is not Material.MAYBE_NITRATE]
    rows += [[o.reference, _place(o), o.title or str(material(o))] for o in safe[:10]]
    return Section(
        title="Fire, flood, mould",
        paragraphs=(
            (
                "People first. Call the fire brigade, leave, and go back only when they say so. "
                "Nothing here is worth a "
                "risk; copies of it exist. Burning nitrate film gives poisonous fumes: never try to put it out. [N2]"
            ),
            (
                "Water: power off before you step in. Wet photographs: act within 48 hours. Rinse "
                "dirt off in clean cold "
                "water, do not touch the picture side, lay them face up on blotting paper. What sticks together stays "
                "together, wet, in a bag. [M2]"
            ),
            (
                "Too many for one day: freeze prints, letters and clippings in bags, a few to a "
                "bag. Do not freeze glass "
                "plates; dry them first. [M2, P1]"
            ),
            MOULD.cited(),
            "Nothing of note grows below 50 % humidity; dry the room, not the photographs. [M1]",
            "Ask: a conservator, the county or city archive. Write their numbers here: ______________________________",
        ),
        table=tuple(tuple(row) for row in rows),
        widths=(32, 56, 90),
    )


def _sources() -> Section:
    rows = [["Mark", "Source", "How it is known"]]
    rows += [[source.key, source.title, source.mark.value] for source in SOURCES.values()]
    return Section(title="Where these rules come from", table=tuple(tuple(row) for row in rows), widths=(16, 116, 46))
