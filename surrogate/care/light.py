"""Light: the dose of a year, what it takes to fade noticeably, and how long a thing may hang."""

from __future__ import annotations

from surrogate.care.rules import Material
from surrogate.records import Record

#: Days of a year on show (ISO and CIE doses are given by the year; source L1).
DAYS = 365

#: Dose to a just noticeable fade without ultraviolet, lux hours, ISO blue wool 1 to 8 (source L2).
NOTICEABLE_LXH = (0.3e6, 1e6, 3e6, 10e6, 30e6, 100e6, 300e6, 1100e6)

#: The same with ultraviolet: daylight through window glass (source L2).
NOTICEABLE_UV_LXH = (0.22e6, 0.6e6, 1.5e6, 3.5e6, 8e6, 20e6, 50e6, 120e6)


class Sensitivity(Record):
    """A class of sensitivity: its blue wools, and the dose a year may bring (CIE 157:2004, source L1)."""

    name: str
    wools: tuple[int, ...]
    yearly_limit_lxh: float

    @property
    def usual_lxh(self) -> float:
        """Dose to a noticeable fade of the class's middle wool."""
        return NOTICEABLE_LXH[self.wools[len(self.wools) // 2] - 1]


#: The classes of CIE 157:2004 (source L1) with the blue wools of source L2.
HIGH = Sensitivity(name="high", wools=(1, 2, 3), yearly_limit_lxh=15_000)
MODERATE = Sensitivity(name="moderate", wools=(4, 5, 6), yearly_limit_lxh=150_000)
LOW = Sensitivity(name="low", wools=(7, 8), yearly_limit_lxh=600_000)

#: Colour prints and silver prints as source L3 sorts them; newsprint and manuscripts as CIE 157 does; the rest, whose
#: colours nobody knows, as the most sensitive.
SENSITIVITY: dict[Material, Sensitivity] = {
    Material.SILVER_PRINT: Sensitivity(name="low", wools=(7,), yearly_limit_lxh=LOW.yearly_limit_lxh),
    Material.COLOUR_PRINT: HIGH,
    Material.FILM: HIGH,
    Material.MAYBE_NITRATE: HIGH,
    Material.NEWSPRINT: HIGH,
    Material.PAPER: MODERATE,
    Material.ALBUM: HIGH,
    Material.UNKNOWN: HIGH,
}

#: Film is not hung: people look at a print of it, and nitrate burns (source N2; the rest common practice, no source).
NEVER_SHOWN = frozenset({Material.FILM, Material.MAYBE_NITRATE})


def dose_per_year(lux: float, hours: float, days: int = DAYS) -> float:
    """Lux hours of ``hours`` a day on ``days`` days."""
    return lux * hours * days


def years_to_fade(limit_lxh: float, yearly_lxh: float) -> float | None:
    """Years until a dose has gathered (light adds up: half the light, twice the time); None in the dark."""
    return limit_lxh / yearly_lxh if yearly_lxh > 0 else None


def days_on_show(sensitivity: Sensitivity, lux: float, hours: float) -> int:
    """Days a year that keep within the yearly limit; at most 365."""
    daily = lux * hours
    return DAYS if daily <= 0 else min(DAYS, int(sensitivity.yearly_limit_lxh / daily))
