"""Out of the freezer: how long a packed parcel must warm before its bag may be opened, and when to start."""

from __future__ import annotations

import math
from datetime import datetime, timedelta

from surrogate.records import Record

#: Published times (NARA, Cold Storage Handling Guidelines, 1991; read): one or two photographs, and a box at least.
FEW_HOURS, BOX_HOURS = 0.5, 2.0

#: A household freezer (0 °F), a refrigerator (35 to 40 °F; CCAHA 2018, second-hand) and a room (ISO 18934; source C5).
FREEZER_C, FRIDGE_C, ROOM_C = -18.0, 4.0, 20.0

#: A parcel may be opened when it is this near to the room (K): above the dew-point of any room below 85 % RH (source
#: W1).
_NEAR_K = 2.0

#: Paper and film: heat capacity J/(kg K), density kg/m3; still air at a box: W/(m2 K) (handbook values, from memory).
_CAPACITY, _DENSITY, _TRANSFER = 1400.0, 700.0, 8.0

#: A night in the refrigerator evens out a sealed box (from memory).
_FRIDGE_HOURS = 12.0


class WarmUp(Record):
    """When each step of taking photographs out of the freezer happens."""

    to_fridge: datetime
    to_room: datetime
    open_bag: datetime


class Packing(Record):
    """When each step of putting photographs into the freezer happens; the next day each, at the same hour."""

    pack: datetime
    to_fridge: datetime
    to_freezer: datetime
    check: datetime


#: Before packing, sleeves and boxes lie open at 30 to 50 % humidity; a day in the refrigerator; the humidity card is
#: read after a week (common practice, no source).
_OPEN_DAYS, _FRIDGE_DAYS, _CHECK_DAYS = 2, 1, 7


def packing(start: datetime) -> Packing:
    """Steps of a parcel whose sleeves and box are laid open on ``start``."""
    pack = start + timedelta(days=_OPEN_DAYS)
    freezer = pack + timedelta(days=_FRIDGE_DAYS)
    return Packing(pack=pack, to_fridge=pack, to_freezer=freezer, check=freezer + timedelta(days=_CHECK_DAYS))


def warming_hours(mass_kg: float, count: int, start_c: float = FREEZER_C, room_c: float = ROOM_C) -> float:
    """Hours for a packed parcel to come within 2 K of the room, never less than the published times.

    Newton's cooling of a cube of the parcel's mass: t = m c / (h A) ln((room - start) / 2 K).
    """
    published = FEW_HOURS if count <= 2 else BOX_HOURS
    if mass_kg <= 0 or room_c - start_c <= _NEAR_K:
        return published
    area_m2 = 6 * math.cbrt(mass_kg / _DENSITY) ** 2
    seconds = mass_kg * _CAPACITY / (_TRANSFER * area_m2) * math.log((room_c - start_c) / _NEAR_K)
    return max(published, seconds / 3600)


def timetable(wanted: datetime, mass_kg: float, count: int) -> WarmUp:
    """Steps that have the parcel open at ``wanted``: a night in the refrigerator, then the room."""
    to_room = wanted - timedelta(hours=math.ceil(2 * warming_hours(mass_kg, count, FRIDGE_C)) / 2)
    return WarmUp(to_fridge=to_room - timedelta(hours=_FRIDGE_HOURS), to_room=to_room, open_bag=wanted)
