"""XML written as it goes, so that a file for 100,000 originals needs no more memory than one for ten."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TextIO
from xml.sax.saxutils import escape, quoteattr

#: Characters that XML 1.0 (5th edition, production 2) allows nowhere, not even escaped.
_FORBIDDEN = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def clean(text: str) -> str:
    """``text`` without the characters that no XML file can hold."""
    return _FORBIDDEN.sub("", text)


class XmlStream:
    """Writes elements in order, two spaces a level. Text and attributes are escaped here and nowhere else."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream
        self._depth = 0
        stream.write('<?xml version="1.0" encoding="UTF-8"?>\n')

    def _start(self, name: str, attributes: dict[str, str]) -> str:
        names = (key.replace("__", "\0").replace("_", ":").replace("\0", "_") for key in attributes)
        written = "".join(
            f" {key}={quoteattr(clean(value))}" for key, value in zip(names, attributes.values(), strict=True)
        )
        return f"{'  ' * self._depth}<{name}{written}"

    def leaf(self, name: str, text: str = "", /, **attributes: str) -> None:
        """One element with text only. In an attribute's name ``_`` stands for a colon, ``__`` for itself."""
        start = self._start(name, attributes)
        self._stream.write(f"{start}>{escape(clean(text))}</{name}>\n" if text else f"{start}/>\n")

    def given(self, name: str, text: str | None, /, **attributes: str) -> None:
        """One element with text, left out when there is nothing to say."""
        if text and clean(text).strip():
            self.leaf(name, text, **attributes)

    @contextmanager
    def element(self, name: str, /, **attributes: str) -> Iterator[None]:
        """An element around what the block writes."""
        start = self._start(name, attributes)
        self._stream.write(f"{start}>\n")
        self._depth += 1
        yield
        self._depth -= 1
        self._stream.write(f"{'  ' * self._depth}</{name}>\n")
