"""Results of the scanner's target kept over time, as a table and as a picture of their drift."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from datetime import date
from html import escape
from pathlib import Path

from surrogate.collection.cells import safe_cell
from surrogate.collection.files import replace_if_changed
from surrogate.condition.chart_values import FADGI_2016
from surrogate.errors import WrongUse

TABLE, PICTURE = "targets.csv", "targets.svg"
_FIGURES = ("oecf_delta_l", "white_balance", "delta_e_2000_mean", "noise_sd_l")
COLUMNS = ("date", "scan", "scan_sha256", "edition", *_FIGURES, "fadgi_2016", "iso_19264")

#: A figure that has grown by more than this share of its three-star limit since the first result has drifted
#: (judgement).
_DRIFT_SHARE = 0.25

_WORDS = {
    "oecf_delta_l": "Tone: largest lightness error (L*)",
    "white_balance": "White balance: largest cast (a*b*)",
    "delta_e_2000_mean": "Colour: mean CIEDE2000",
    "noise_sd_l": "Noise: standard deviation of L*",
}

_WIDE, _HIGH, _LEFT, _GAP = 640, 110, 40, 46


def keep(folder: Path, day: date, row: Mapping[str, str]) -> list[str]:
    """Add one result to ``targets.csv`` in ``folder`` (a scan kept before is not added again), draw ``targets.svg``.

    ``row`` holds the columns but ``date``. Returns what has drifted, in words. Raises :class:`WrongUse`.
    """
    rows = read(folder)
    if all(one.get("scan_sha256") != row["scan_sha256"] for one in rows):
        rows = [*rows, {"date": day.isoformat(), **row}]
    stream = io.StringIO()
    table = csv.writer(stream)
    table.writerow(COLUMNS)
    table.writerows([safe_cell(one.get(name, "")) for name in COLUMNS] for one in rows)
    replace_if_changed(folder / TABLE, stream.getvalue().encode())
    replace_if_changed(folder / PICTURE, picture(rows).encode())
    return drift(rows)


def read(folder: Path) -> list[dict[str, str]]:
    """Rows kept so far. Raises :class:`WrongUse` for a table that cannot be understood."""
    path = folder / TABLE
    if not path.is_file():
        return []
    try:
        rows = list(csv.DictReader(path.read_text(encoding="utf-8-sig").splitlines()))
        for row in rows:
            date.fromisoformat(row["date"])
            for name in _FIGURES:
                float(row[name] or 0)
    except (OSError, UnicodeDecodeError, ValueError, KeyError, TypeError) as error:
        raise WrongUse(f"{path} is no table of target results any more. Move it away to begin a new one.") from error
    return rows


def _series(rows: Sequence[Mapping[str, str]], name: str) -> list[tuple[int, float]]:
    return [(date.fromisoformat(row["date"]).toordinal(), float(row[name])) for row in rows if row.get(name)]


def drift(rows: Sequence[Mapping[str, str]]) -> list[str]:
    """What is worse now than at first, by more than a quarter of its three-star limit."""
    said = []
    for name in _FIGURES:
        series = _series(rows, name)
        if len(series) > 1 and series[-1][1] - series[0][1] > _DRIFT_SHARE * FADGI_2016[name][1]:
            said.append(
                f"{_WORDS[name]} has grown from {series[0][1]:.2f} to {series[-1][1]:.2f} since {rows[0]['date']}."
            )
    return said


def picture(rows: Sequence[Mapping[str, str]]) -> str:
    """SVG: one panel a figure over time, with the limit of three stars as a dashed line."""
    parts = []
    for number, name in enumerate(_FIGURES):
        top = 20 + number * (_HIGH + _GAP)
        parts.append(_panel(_series(rows, name), _WORDS[name], FADGI_2016[name][1], top))
    tall = 20 + len(_FIGURES) * (_HIGH + _GAP)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDE + 2 * _LEFT} {tall}" font-family="sans-serif" '
        f'font-size="11" fill="#333"><rect width="100%" height="100%" fill="#fff"/>{"".join(parts)}</svg>\n'
    )


def _panel(series: Sequence[tuple[int, float]], title: str, limit: float, top: int) -> str:
    most = max([limit, *(value for _, value in series)]) * 1.1
    days = [day for day, _ in series]
    first, span = (days[0], max(1, days[-1] - days[0])) if days else (0, 1)

    def place(day: int, value: float) -> tuple[float, float]:
        return _LEFT + (day - first) / span * _WIDE, top + 14 + (1 - value / most) * (_HIGH - 14)

    points = [place(*one) for one in series]
    line = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
    dots = "".join(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3"/>' for x, y in points)
    level, foot = place(first, limit)[1], top + _HIGH
    ends = "".join(
        f'<text x="{x:.1f}" y="{foot + 14}" text-anchor="{anchor}">{date.fromordinal(day).isoformat()}</text>'
        for day, x, anchor in ((days[0], _LEFT, "start"), (days[-1], _LEFT + _WIDE, "end"))
    ) if len(days) > 1 else ""  # fmt: skip
    return (
        f'<text x="{_LEFT}" y="{top + 4}" font-weight="bold">{escape(title)}</text>'
        f'<line x1="{_LEFT}" y1="{foot}" x2="{_LEFT + _WIDE}" y2="{foot}" stroke="#999"/>'
        f'<line x1="{_LEFT}" y1="{level:.1f}" x2="{_LEFT + _WIDE}" y2="{level:.1f}" stroke="#999" '
        f'stroke-dasharray="4 4"/>'
        f'<text x="{_LEFT - 4}" y="{level + 4:.1f}" text-anchor="end">{limit:g}</text>'
        f'<polyline points="{line}" fill="none" stroke="#333"/>{dots}{ends}'
    )
