"""Being asked to stop: once finishes what is in hand, twice stops at once."""

from __future__ import annotations

import signal
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from types import FrameType


@dataclass
class Stop:
    """Whether somebody asked to stop."""

    asked: bool = False


@contextmanager
def heard() -> Iterator[Stop]:
    """Hear Ctrl-C and the system's request to end (SIGTERM) while the block runs.

    The first one is noted in the :class:`Stop` that is given out; the second raises KeyboardInterrupt. Only a program's
    main thread can hear; elsewhere nobody is ever heard to ask.
    """
    stop = Stop()
    if threading.current_thread() is not threading.main_thread():
        yield stop
        return

    def note(_number: int, _frame: FrameType | None) -> None:
        if stop.asked:
            raise KeyboardInterrupt
        stop.asked = True
        said = "\nsurrogate: the scans in hand are being finished. Press Ctrl-C again to stop at once."
        print(said, file=sys.stderr, flush=True)  # noqa: T201  (progress of a person's own command)

    before = {number: signal.signal(number, note) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield stop
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
