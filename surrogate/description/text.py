"""Text as people write it, made safe to store: what cannot be carried is taken out, and said."""

from __future__ import annotations

import re
import unicodedata
from typing import NamedTuple

# Controls (Cc) but tabulator and line break, lone surrogates (Cs), and the last two code points of each plane with
# U+FDD0 to U+FDEF.
_NON_CHARACTERS = "".join(chr(plane << 16 | last) for plane in range(17) for last in (0xFFFE, 0xFFFF))
_CANNOT_TRAVEL = re.compile(f"[\x00-\x08\x0b-\x1f\x7f-\x9f\ud800-\udfff\ufdd0-\ufdef{_NON_CHARACTERS}]")


class Cleaned(NamedTuple):
    """A text that can be stored everywhere, and a word on what was taken out ("" for nothing)."""

    text: str
    stripped: str = ""


def clean(text: str) -> Cleaned:
    """Take out what no metadata block can carry; keep everything else as written.

    Taken out: NUL and the other control characters (Unicode category Cc) except tabulator and line break,
    lone surrogates (Cs), and the 66 non-characters (The Unicode Standard, section 23.7). XML 1.0, production 2
    ``Char``, forbids most of them, so XMP could not hold them. Line breaks of every system become ``\\n`` and
    the text is put into Normalization Form C (Unicode Standard Annex 15). Format characters (joiners,
    direction marks) belong to the writing of many languages and stay; a byte order mark at the beginning goes.
    """
    if text.isascii() and text.isprintable():
        return Cleaned(text)
    text = text.replace("\r\n", "\n").replace("\r", "\n").removeprefix("\ufeff")
    found = [ord(character) for character in _CANNOT_TRAVEL.findall(text)]
    kept = _CANNOT_TRAVEL.sub("", text) if found else text
    return Cleaned(text=unicodedata.normalize("NFC", kept), stripped=_words_for(found))


def shorten(text: str, most_bytes: int) -> str:
    """Cut to at most ``most_bytes`` bytes of UTF-8 without splitting a letter from its marks.

    A cut never falls inside a code point, before a combining mark or a variation selector, or beside a
    zero-width joiner.
    """
    encoded = text.encode()
    if len(encoded) <= most_bytes:
        return text
    cut = encoded[:most_bytes].decode(errors="ignore")
    end = len(cut)
    while end > 0 and (_hangs_on(text[end]) or text[end - 1] == "\u200d"):
        end -= 1
    return text[:end] if end > 0 else cut


def _hangs_on(character: str) -> bool:
    return unicodedata.category(character).startswith("M") or character in "\u200d\u200c"


def _words_for(codes: list[int]) -> str:
    if not codes:
        return ""
    names = ", ".join(f"U+{code:04X}" for code in sorted(set(codes))[:5])
    if len(codes) == 1:
        return f"one character that cannot be stored was left out ({names})"
    return f"{len(codes)} characters that cannot be stored were left out ({names})"
