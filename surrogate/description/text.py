"""Text as people write it, made safe to store: what cannot be carried is taken out, and said."""

from __future__ import annotations

import unicodedata

from surrogate.records import Record

_KEPT_CONTROLS = "\t\n"


class Cleaned(Record):
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
    text = text.replace("\r\n", "\n").replace("\r", "\n").removeprefix("\ufeff")
    found: list[int] = []
    kept: list[str] = []
    for character in text:
        if _cannot_travel(character):
            found.append(ord(character))
        else:
            kept.append(character)
    return Cleaned(text=unicodedata.normalize("NFC", "".join(kept)), stripped=_words_for(found))


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


def _cannot_travel(character: str) -> bool:
    code = ord(character)
    if character.isascii() and character.isprintable():
        return False
    category = unicodedata.category(character)
    if category == "Cc":
        return character not in _KEPT_CONTROLS
    return category == "Cs" or 0xFDD0 <= code <= 0xFDEF or code & 0xFFFE == 0xFFFE


def _hangs_on(character: str) -> bool:
    return unicodedata.category(character).startswith("M") or character in "\u200d\u200c"


def _words_for(codes: list[int]) -> str:
    if not codes:
        return ""
    names = ", ".join(f"U+{code:04X}" for code in sorted(set(codes))[:5])
    if len(codes) == 1:
        return f"one character that cannot be stored was left out ({names})"
    return f"{len(codes)} characters that cannot be stored were left out ({names})"
