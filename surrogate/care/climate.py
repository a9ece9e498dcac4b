"""Files of climate loggers: read, and judged against limits of temperature and humidity."""

from __future__ import annotations

import csv
import math
from datetime import datetime
from itertools import pairwise
from pathlib import Path

from surrogate.errors import WrongUse
from surrogate.records import Record

#: Magnus coefficients over water (WMO No. 8, from memory).
_MAGNUS_A, _MAGNUS_C = 17.62, 243.12

#: Dark fading about doubles for each 6 °C (Wilhelm, JAIC 21, 1981; read).
_DOUBLING_K = 6.0

#: What fading is compared with: a room at 20 °C (ISO 18934; source C5).
_REFERENCE_C = 20.0

#: Activation energy of slow chemical decay (source K1) and the gas constant, J/mol and J/(mol K).
_ACTIVATION_J, _GAS_J = 100_000.0, 8.314

#: Above this humidity gelatin softens and mould may grow (from memory).
DAMP = 60.0

#: Warmest for paper and albums (BS 4971:2017; source C4), and the share of time that a limit may be passed unheeded
#: (judgement: an hour in twenty, a door left open).
WARMEST_C, _UNHEEDED = 23.0, 0.05

#: A gap longer than this (hours) between readings is not counted as measured time (judgement).
_LONGEST_GAP_H = 6.0

_COLUMNS = {"time": ("time", "date"), "temperature": ("temp",), "humidity": ("hum", "rh")}


class Reading(Record):
    """One reading: °C and % RH."""

    time: datetime
    temperature_c: float
    humidity: float


class Climate(Record):
    """What a logger says: hours measured, shares of time (0-1), and how fast things age.

    ``relative_fading``: speed of dark fading against 20 °C. ``lifetime``: how many times as long as at 20 °C and 50 %
    things last (see :func:`lifetime_multiplier`).
    """

    hours: float
    first: datetime
    last: datetime
    mean_c: float
    mean_humidity: float
    too_warm: float
    too_damp: float
    too_dry: float
    highest_dew_point_c: float
    relative_fading: float
    lifetime: float


def lifetime_multiplier(temperature_c: float, humidity: float) -> float:
    """How many times as long things last as at 20 °C and 50 %: (50/RH)^1.3 exp(Ea/R (1/T - 1/293.15 K)).

    Michalski 2002, with an activation energy of 100 kJ/mol (source K1); ``humidity`` in %, above 0.
    """
    kelvin = temperature_c + 273.15
    return float((50 / humidity) ** 1.3 * math.exp(_ACTIVATION_J / _GAS_J * (1 / kelvin - 1 / 293.15)))


def dew_point(temperature_c: float, humidity: float) -> float:
    """Dew-point in °C by the Magnus formula; ``humidity`` in %, above 0."""
    gamma = math.log(humidity / 100) + _MAGNUS_A * temperature_c / (_MAGNUS_C + temperature_c)
    return _MAGNUS_C * gamma / (_MAGNUS_A - gamma)


def read_logger(path: Path) -> list[Reading]:
    """Readings of a CSV with columns for time, temperature (°C) and humidity (%). Raises :class:`WrongUse`."""
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise WrongUse(f"The logger file {path} cannot be read as text. Export it from the logger as CSV.") from error
    separator = ";" if text.count(";") > text.count(",") else ","
    rows = list(csv.reader(text.splitlines(), delimiter=separator))
    for number, row in enumerate(rows):
        places = {
            name: next((i for i, cell in enumerate(row) if any(w in cell.lower() for w in words)), None)
            for name, words in _COLUMNS.items()
        }
        if all(place is not None for place in places.values()):
            time, warm, damp = (place for place in places.values() if place is not None)
            found = [
                _reading(path, n, r, (time, warm, damp)) for n, r in enumerate(rows[number + 1 :], number + 2) if r
            ]
            return sorted(found, key=lambda reading: reading.time)
    raise WrongUse(f"{path} has no heading with time, temperature and humidity. Name the columns so and try again.")


def _time(text: str) -> datetime:
    """ISO 8601, or the day first; month first (as in the USA) is not guessed at and fails on days after the 12th."""
    try:
        return datetime.fromisoformat(text)
    except ValueError:
        pass
    for layout in ("%d.%m.%Y %H:%M:%S", "%d.%m.%Y %H:%M", "%d/%m/%Y %H:%M:%S"):
        try:
            return datetime.strptime(text, layout)  # noqa: DTZ007 - a logger's own clock
        except ValueError:
            continue
    return datetime.strptime(text, "%d/%m/%Y %H:%M")  # noqa: DTZ007


def _reading(path: Path, line: int, row: list[str], places: tuple[int, int, int]) -> Reading:
    try:
        time, warm, damp = (row[place] for place in places)
        reading = Reading(
            time=_time(time.strip()),
            temperature_c=float(warm.replace(",", ".")),
            humidity=float(damp.replace(",", ".").rstrip("% ")),
        )
    except (ValueError, IndexError, OverflowError) as error:
        raise WrongUse(f"{path}, line {line}: not a time, a temperature and a humidity. Mend or delete it.") from error
    if not 0 < reading.humidity <= 100:
        raise WrongUse(f"{path}, line {line}: {reading.humidity} % is no humidity. Mend or delete it.")
    return reading


def judge(readings: list[Reading], *, warmest_c: float, driest: float = 30.0, dampest: float = DAMP) -> Climate:
    """Weigh readings by the time until the next. Raises :class:`WrongUse` for fewer than two."""
    if len(readings) < 2:
        raise WrongUse("The logger file holds fewer than two readings: nothing can be said about a time.")
    spans = [(a, min((b.time - a.time).total_seconds() / 3600, _LONGEST_GAP_H)) for a, b in pairwise(readings)]
    hours = sum(span for _, span in spans) or 1.0
    fading = sum(span * 2 ** ((r.temperature_c - _REFERENCE_C) / _DOUBLING_K) for r, span in spans) / hours
    decay = sum(span / lifetime_multiplier(r.temperature_c, r.humidity) for r, span in spans) / hours  # rates average
    return Climate(
        hours=round(hours, 2),
        first=readings[0].time,
        last=readings[-1].time,
        mean_c=sum(span * r.temperature_c for r, span in spans) / hours,
        mean_humidity=sum(span * r.humidity for r, span in spans) / hours,
        too_warm=sum(span for r, span in spans if r.temperature_c > warmest_c) / hours,
        too_damp=sum(span for r, span in spans if r.humidity > dampest) / hours,
        too_dry=sum(span for r, span in spans if r.humidity < driest) / hours,
        highest_dew_point_c=max(dew_point(r.temperature_c, r.humidity) for r in readings),
        relative_fading=fading,
        lifetime=1 / decay if decay else 1.0,
    )


def read_folder(folder: Path) -> dict[str, Climate]:
    """Every logger file (CSV) of a folder, judged by BS 4971 for paper (source C4), by name without suffix."""
    return {path.stem: judge(read_logger(path), warmest_c=WARMEST_C) for path in sorted(folder.glob("*.csv"))}


def alarms(climates: dict[str, Climate]) -> list[str]:
    """One sentence for each place that was too damp or too warm for more than the share that passes unheeded."""
    said = []
    for name, climate in climates.items():
        if climate.too_damp > _UNHEEDED:
            said.append(f"{name}: above {DAMP:g} % humidity for {100 * climate.too_damp:.0f} % of the time. "
                        "Mould may grow: dry the room. [M1]")  # fmt: skip
        if climate.too_warm > _UNHEEDED:
            share = f"{100 * climate.too_warm:.0f} %"
            said.append(f"{name}: above {WARMEST_C:g} °C for {share} of the time. Find a cooler place. [C4]")
    return said
