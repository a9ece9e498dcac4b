"""What the first cards do not need is loaded when it is asked for, or a moment after the start: it reads scans and
writes every list of a collection, and would double the time until the first cards.
"""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING

from surrogate.desk.room import Room

if TYPE_CHECKING:
    from surrogate.desk.decisions import Decisions
    from surrogate.desk.originals import Originals
    from surrogate.desk.pairing import Pairing
    from surrogate.desk.pictures import Pictures
    from surrogate.desk.questions import Questions

#: Seconds after the start: by then a browser has the first cards, and nobody has chosen one yet.
MOMENT_S = 1.5


class Late:
    """The routes of one desk that are loaded late. May be asked from several threads."""

    def __init__(self, room: Room) -> None:
        self._room = room
        self._lock = threading.RLock()
        self._originals: Originals | None = None
        self._pictures: Pictures | None = None
        self._decisions: Decisions | None = None
        self._questions: Questions | None = None
        self._pairing: Pairing | None = None

    def load_in_a_moment(self) -> None:
        """Load everything behind the desk's back."""
        timer = threading.Timer(
            MOMENT_S, lambda: (self.originals, self.pictures, self.decisions, self.pairing, self.questions)
        )
        timer.daemon = True
        timer.start()

    def close(self) -> None:
        """Take away what was made for looking."""
        if self._pictures is not None:
            self._pictures.close()

    @property
    def originals(self) -> Originals:
        """The pages of one original."""
        from surrogate.desk.originals import Originals

        with self._lock:
            self._originals = self._originals or Originals(self._room)
            return self._originals

    @property
    def pictures(self) -> Pictures:
        """Pictures."""
        from surrogate.desk.pictures import Pictures

        with self._lock:
            self._pictures = self._pictures or Pictures(self._room)
            return self._pictures

    @property
    def decisions(self) -> Decisions:
        """Decisions."""
        from surrogate.desk.decisions import Decisions

        with self._lock:
            self._decisions = self._decisions or Decisions(self._room)
            return self._decisions

    @property
    def questions(self) -> Questions:
        """The sheet of questions."""
        from surrogate.desk.questions import Questions

        with self._lock:
            self._questions = self._questions or Questions(self._room)
            return self._questions

    @property
    def pairing(self) -> Pairing:
        """Front and back."""
        from surrogate.desk.pairing import Pairing

        with self._lock:
            self._pairing = self._pairing or Pairing(self._room)
            return self._pairing
