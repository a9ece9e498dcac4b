"""Progress on standard error, only where somebody watches."""

from __future__ import annotations

import sys
import time
from collections import deque

#: Scans over which the rate is taken: enough to be steady, few enough to follow a change of size.
_RECENT = 50


class Meter:
    """One line that tells how far the work is, how fast it goes and how long it will take."""

    def __init__(self) -> None:
        self._watched = sys.stderr.isatty()
        self._times: deque[float] = deque([time.monotonic()], maxlen=_RECENT + 1)

    def __call__(self, done: int, total: int, aside: int, what: str) -> None:
        """``done`` of ``total`` scans, ``aside`` of them set aside; ``what`` is the name of the last one."""
        if not self._watched:
            return
        self._times.append(time.monotonic())
        taken = self._times[-1] - self._times[0]
        rate = (len(self._times) - 1) / taken if taken > 0 else 0.0
        text = line(done, total, aside, rate)
        print(f"\r{text}  {what[:30]:30}\x1b[K", end="\n" if done >= total else "", file=sys.stderr, flush=True)  # noqa: T201


def line(done: int, total: int, aside: int, rate: float) -> str:
    """How far the work is, in words; ``rate`` is scans a second.

    >>> line(1200, 10_000, 3, 2.0)
    '1,200 of 10,000, 2.0 a second, about 1 h 13 min left, 3 set aside'
    >>> line(2, 4, 0, 0.25)
    '2 of 4, 4 seconds each, about 8 s left'
    """
    parts = [f"{done:,} of {total:,}"]
    if rate > 0:
        parts.append(f"{rate:.1f} a second" if rate >= 1 else f"{1 / rate:.0f} seconds each")
        parts.append(f"about {duration((total - done) / rate)} left")
    if aside:
        parts.append(f"{aside:,} set aside")
    return ", ".join(parts)


def duration(seconds: float) -> str:
    """Seconds in words.

    >>> duration(59), duration(125), duration(3 * 3600 + 60)
    ('59 s', '2 min', '3 h 1 min')
    """
    if seconds < 60:
        return f"{seconds:.0f} s"
    minutes = round(seconds / 60)
    return f"{minutes} min" if minutes < 60 else f"{minutes // 60} h {minutes % 60} min"
