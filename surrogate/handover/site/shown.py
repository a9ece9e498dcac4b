"""What may be shown to the world. Everything the site writes comes from these records and from nothing else."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import date
from pathlib import Path

from surrogate.collection import paths
from surrogate.collection.files import sha256_of
from surrogate.collection.numbering import name_of
from surrogate.collection.settings import PublishSection
from surrogate.handover.text import Line, corrected, lines_of
from surrogate.handover.words import KINDS, date_words
from surrogate.records import CollectionInfo, Copy, Kind, Original, Record, Side, Use

#: Stands where a name was taken out.
WITHHELD = "[name withheld]"

#: At the end of a name in the column ``people``: this person lives and must not be named.
LIVING = "(living)"

_DAY = re.compile(r"\d{4}-\d\d-\d\d")
_LEGIBILITY_FIRST = frozenset({Kind.CLIPPING, Kind.DOCUMENT})

Redact = Callable[[str], str]


class Picture(Record):
    """One picture of an original. ``file``, ``thumbnail`` and ``before`` are paths in the collection."""

    key: str
    side: str
    part: int | None
    file: str
    sha256: str
    master_sha256: str
    width: int
    height: int
    thumbnail: str
    thumbnail_sha256: str
    before: str
    before_sha256: str
    words: tuple[str, ...]
    text: tuple[Line, ...]


class Item(Record):
    """One original as the world may see it."""

    reference: str
    name: str
    kind: str
    title: str
    caption: str
    date: str
    when: str
    decade: str
    people: tuple[str, ...]
    subjects: tuple[str, ...]
    place: str
    inscription: str
    creator: str
    credit: str
    rights: str
    same_picture_as: tuple[str, ...]
    pictures: tuple[Picture, ...]

    @property
    def heading(self) -> str:
        """The title, or what stands for one."""
        return self.title or f"{self.kind.capitalize()} {self.reference}"


def is_open(original: Original, rules: PublishSection, today: date) -> bool:
    """Whether an original may be shown on this day. What is not understood stays closed.

    A number that became its back counts like its own: what was taken down must not come back as a back.
    """
    numbers = {original.reference, *original.earlier_numbers}
    if numbers.intersection(rules.taken_down) or (rules.approved_only and not original.approved):
        return False
    if original.kind is Kind.TARGET or (rules.only is not None and not numbers & rules.only):
        return False
    access = original.access.strip().lower()
    if access in {"", "public"}:
        return True
    if not _DAY.fullmatch(access):
        return False
    try:
        return date.fromisoformat(access) <= today
    except ValueError:
        return False


def living(people: Iterable[str]) -> Iterator[str]:
    """The names of those among ``people`` who are marked as living."""
    for person in people:
        if person.strip().lower().endswith(LIVING):
            yield person.strip()[: -len(LIVING)]


def withheld_names(names: Iterable[str]) -> list[str]:
    """Names that must not appear, without those said twice."""
    return sorted({" ".join(name.split()) for name in names} - {""})


def redactor(names: Sequence[str]) -> Redact:
    """A function that takes these names out of a text, also as ``Surname, First name``, in any case and spacing."""
    forms = []
    for name in names:
        words = [re.escape(word) for word in name.split()]
        forms.append(r"\s+".join(words))
        if len(words) > 1:
            forms.append(rf"{words[-1]}\s*,\s*" + r"\s+".join(words[:-1]))
    if not forms:
        return lambda text: text
    pattern = re.compile(r"(?<!\w)(?:" + "|".join(sorted(forms, key=len, reverse=True)) + r")(?!\w)", re.IGNORECASE)
    return lambda text: pattern.sub(lambda found: WITHHELD + "\n" * found[0].count("\n"), text)


def decade_of(edtf: str) -> str:
    """``1940s`` for a date that lies within one decade, else nothing.

    >>> decade_of("1943~"), decade_of("194X"), decade_of("1938/1945"), decade_of("19XX")
    ('1940s', '1940s', '', '')
    """
    years = re.findall(r"(?<![\d-])(\d{3})[\dX](?![\d])", edtf)
    return f"{years[0]}0s" if years and len(set(years)) == 1 and "XX" not in edtf[:4] else ""


def _best(copies: Sequence[Copy], kind: Kind) -> Copy | None:
    order = (Use.READING, Use.VIEWING) if kind in _LEGIBILITY_FIRST else (Use.VIEWING, Use.READING)
    return next((copy for use in order for copy in copies if copy.use is use), None)


def _recipe_words(collection: Path, recipe: str | None) -> tuple[str, ...]:
    if not recipe:
        return ()
    try:
        words = json.loads((collection / recipe).read_bytes()).get("words", [])
    except FileNotFoundError:
        return ()
    return tuple(str(word) for word in words)


def _text(collection: Path, original: Original, copy: Copy, redact: Redact) -> tuple[Line, ...]:
    lines: Sequence[Line] = ()
    if copy.part is None:
        for text in original.texts:
            if text.side is copy.side:
                lines = lines_of(collection, text.file)
    redacted = redact("\n".join(line.text for line in lines)).split("\n")
    return tuple(line.with_text(words) for line, words in zip(lines, redacted, strict=False))


def _pictures(collection: Path, original: Original, rules: PublishSection, redact: Redact) -> Iterator[Picture]:
    shown = {(copy.side, copy.part) for copy in original.copies}
    for side, part in sorted(shown, key=lambda key: (key[0] is Side.VERSO, key[1] or 0)):
        copies = [copy for copy in original.copies if (copy.side, copy.part) == (side, part)]
        best = _best(copies, original.kind)
        if best is None:
            continue
        thumbnail = next((copy for copy in copies if copy.use is Use.THUMBNAIL), None)
        before = paths.condition(original.reference, side, "png")
        allowed = rules.before_and_after and part is None and (collection / before).is_file()
        yield Picture(
            key=paths.stem(original.reference, side, part),
            side="front" if side is Side.RECTO else "back",
            part=part,
            file=best.file,
            sha256=best.sha256,
            master_sha256=best.master_sha256,
            width=best.width,
            height=best.height,
            thumbnail=thumbnail.file if thumbnail else "",
            thumbnail_sha256=thumbnail.sha256 if thumbnail else "",
            before=before if allowed else "",
            before_sha256=sha256_of(collection / before) if allowed else "",
            words=_recipe_words(collection, best.recipe),
            text=_text(collection, original, best, redact),
        )


def has_picture(original: Original) -> bool:
    """Whether there is a copy to show."""
    return any(copy.use in {Use.VIEWING, Use.READING} for copy in original.copies)


def lies_beside(original: Original, rules: PublishSection) -> Iterator[str]:
    """Paths of files that an item is made from and whose checksums the manifest does not hold; some may be missing."""
    for copy in original.copies:
        if copy.recipe and copy.use in {Use.VIEWING, Use.READING}:
            yield copy.recipe
        if rules.before_and_after and copy.part is None:
            yield paths.condition(original.reference, copy.side, "png")
    for text in original.texts:
        yield text.file
        yield corrected(text.file)


def item_of(
    collection: Path,
    info: CollectionInfo,
    original: Original,
    rules: PublishSection,
    redact: Redact,
    *,
    same_picture_as: Sequence[str],
    subjects: Sequence[str],
) -> Item:
    """What may be shown of an open original; ``same_picture_as`` names originals that are open too."""
    people = (person.strip() for person in original.people if not person.strip().lower().endswith(LIVING))
    return Item(
        reference=original.reference,
        name=name_of(original.reference),
        kind=KINDS[original.kind],
        title=redact(original.title),
        caption=redact(original.caption),
        date=redact(original.date),
        when=redact(date_words(original.date)),
        decade=decade_of(original.date),
        people=tuple(person for person in people if person and redact(person) == person),
        subjects=tuple(subject for subject in subjects if redact(subject) == subject),
        place=redact(original.place),
        inscription=redact(original.inscription),
        creator=redact(original.creator),
        credit=info.credit,
        rights=redact(original.rights or info.rights),
        same_picture_as=tuple(same_picture_as),
        pictures=tuple(_pictures(collection, original, rules, redact)),
    )
