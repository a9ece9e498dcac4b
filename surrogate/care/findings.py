"""What inspections found: read back from ``inspections.csv``, sorted into kinds, counted by round, and alarming."""

from __future__ import annotations

import csv
from collections import Counter
from collections.abc import Sequence
from datetime import date
from pathlib import Path

from surrogate.care.days import in_words
from surrogate.collection.cells import divider
from surrogate.errors import CollectionUnusable
from surrogate.records import Record

#: Kinds of finding in the order of the check boxes, with words that people write for them (common
#: practice, no source).
KINDS: dict[str, tuple[str, ...]] = {
    "damp": ("damp", "wet", "moist", "condens"),
    "mould": ("mould", "mold", "musty", "fungus"),
    "insects": ("insect", "pest", "silverfish", "beetle", "larva", "frass", "moth", "mouse", "mice"),
    "smell": ("vinegar", "smell", "odour", "odor", "acrid"),
    "stain": ("stain", "spot", "foxing", "yellow"),
    "fading": ("fade", "fading", "pale"),
    "curling": ("curl", "warp", "wave", "wavy", "shrunk"),
    "damage": ("tear", "torn", "crack", "broken", "flak", "brittle", "crumbl"),
    "housing": ("box full", "sleeve", "folder", "envelope"),
}

#: Kinds that call for something at once: mould grows within 48 hours (source M2), the others spread (judgement).
URGENT = ("damp", "mould", "insects", "smell")

#: What to do at once (sources M1, M2, P1, N2 and V1, as marked).
ADVICE = {
    "damp": "Bring the air there below 50 % humidity. [M1]",
    "mould": "Close the box into a bag, and read the page on mould first. [M2]",
    "insects": "Close the box into a bag, keep it away from the others, and ask a conservator. [P1]",
    "smell": "Keep it apart and aired, away from flames, and do not sniff closely. [N2, V1]",
}

_NOTHING = {"", "ok", "none", "no change", "good", "nothing", "-"}

#: The same kind found this often in one box is an alarm (judgement).
_TWICE = 2


class Finding(Record):
    """One row that somebody filled in; ``kinds`` are those its words name, or ``other``."""

    day: date | None
    box: str
    reference: str
    words: str
    kinds: tuple[str, ...]


def read(file: Path) -> list[Finding]:
    """Filled-in rows that found something; empty without a file. Raises :class:`CollectionUnusable`."""
    try:
        text = file.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        return []
    except (OSError, UnicodeDecodeError) as error:
        raise CollectionUnusable(f"{file} cannot be read as text. Save it as CSV in UTF-8.") from error
    rows = csv.DictReader(text.splitlines(), delimiter=divider(text))
    found = []
    for row in rows:
        words = (row.get("finding") or "").strip()
        if words.lower() not in _NOTHING:
            found.append(Finding(day=_day(row.get("date") or ""), box=(row.get("box") or "").strip(),
                                 reference=(row.get("reference") or "").strip(), words=words,
                                 kinds=kinds_of(words)))  # fmt: skip
    return found


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        return None


def kinds_of(words: str) -> tuple[str, ...]:
    """The kinds that a finding's words name."""
    lowered = words.lower()
    named = tuple(kind for kind, known in KINDS.items() if any(word in lowered for word in known))
    return named or ("other",)


def half_year(day: date) -> str:
    """The round a day belongs to: ``2027 spring`` from January to June, else ``2027 autumn``."""
    return f"{day.year} {'spring' if day.month <= 6 else 'autumn'}"


def trend(findings: Sequence[Finding]) -> list[tuple[str, dict[str, int]]]:
    """Counts of each kind by round, oldest first; findings without a day come last, as ``undated``."""
    rounds: dict[str, Counter[str]] = {}
    for finding in sorted(findings, key=lambda one: one.day or date.max):
        rounds.setdefault(half_year(finding.day) if finding.day else "undated", Counter()).update(finding.kinds)
    return [(name, dict(counts)) for name, counts in rounds.items()]


def alarms(findings: Sequence[Finding]) -> list[str]:
    """Urgent findings one by one; any kind found twice in one box; any kind that grows from round to round."""
    said = []
    for finding in findings:
        if any(kind in URGENT for kind in finding.kinds):
            when = in_words(finding.day) if finding.day else "undated"
            advice = " ".join(ADVICE[kind] for kind in finding.kinds if kind in ADVICE)
            said.append(f"{when}, {_box(finding.box)}, {finding.reference}: {finding.words.rstrip('.')}. {advice}")
    times = Counter((finding.box, kind) for finding in findings for kind in finding.kinds if kind not in URGENT)
    said += [
        f"{_box(box)}: {kind} found {count} times. Look for what does it: the place, the sleeve, the neighbours. [P1]"
        for (box, kind), count in times.items()
        if count >= _TWICE
    ]
    dated = [counts for name, counts in trend(findings) if name != "undated"]
    if len(dated) >= 2:
        said += [f"More {kind} than in the round before: {dated[-1][kind]} against {dated[-2].get(kind, 0)}."
                 for kind in dated[-1] if kind != "other" and dated[-1][kind] > dated[-2].get(kind, 0) + 1]  # fmt: skip
    return said


def _box(box: str) -> str:
    return f"box {box}" if box else "no box"
