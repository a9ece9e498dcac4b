"""Find out in which encoding a text was saved."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from surrogate.errors import WrongUse


def decode(name: str, data: bytes) -> tuple[str, str]:
    """The text of a file and the name of its encoding.

    UTF-8 and UTF-16 are recognised with and without a byte order mark; else Windows-1252 and Mac Roman are told
    apart by which gives more letters that belong to words. Raises WrongUse for a file that is no text.
    """
    for mark, codec, encoding in (
        (b"\xef\xbb\xbf", "utf-8-sig", "UTF-8"),
        (b"\xff\xfe", "utf-16", "UTF-16"),
        (b"\xfe\xff", "utf-16", "UTF-16"),
    ):
        if data.startswith(mark):
            return data.decode(codec, errors="replace"), encoding
    unmarked = _unmarked_utf16(data)
    if unmarked:
        return data.decode(unmarked, errors="replace"), "UTF-16"
    if data.count(0) > len(data) // 100:
        raise WrongUse(f"{name} is not a caption sheet; give a CSV or XLSX file.")
    try:
        return data.decode("utf-8"), "UTF-8"
    except UnicodeDecodeError:
        pass
    text = decode_legacy(data)
    return text, "Windows-1252" if text == _windows(data) else "Mac Roman"


def decode_legacy(data: bytes) -> str:
    """Text in Windows-1252 or Mac Roman, whichever looks more like words."""
    windows, mac = _windows(data), data.decode("mac_roman")
    return mac if _likelihood(mac) > _likelihood(windows) else windows


def _windows(data: bytes) -> str:
    return data.decode("cp1252", errors="replace")


def _unmarked_utf16(data: bytes) -> str | None:
    sample = data[:4096]
    even, odd = sample[0::2].count(0), sample[1::2].count(0)
    half = len(sample) // 2
    if half and odd > 0.3 * half > 3 * even:
        return "utf-16-le"
    if half and even > 0.3 * half > 3 * odd:
        return "utf-16-be"
    return None


# Letters by how often they stand in the languages written with these encodings (common practice, no source).
_FREQUENT = frozenset("éèàüöäñçóíáåøæêßâúôã")
_RARE = frozenset("ëîïìùûòõÿœšžðþýÿ")
_SIGNS = frozenset("°£€½¼¾©§«»¿¡ªº·×±²³")


def _likelihood(text: str) -> int:
    """How much a decoded text looks like words: accented letters in their places, typographic marks in theirs."""
    around = zip(f" {text}", text, f"{text[1:]} ", strict=False)
    return sum(_fits(before, mark, after) for before, mark, after in around if not mark.isascii())


def _fits(before: str, mark: str, after: str) -> int:
    """Points for a letter or sign between its neighbours; below zero where no word has it."""
    low = mark.lower()
    if low in _FREQUENT or low in _RARE:
        if mark.isupper() and before.islower():
            return -3
        beside = before.isalpha() or after.isalpha()
        return -1 if not beside else 4 if low in _FREQUENT else 3
    rule = _PLACES.get(mark)
    if rule is not None:
        return 4 if rule(before, after) else -3
    return 2 if mark in _SIGNS else -3


def _opens(before: str, after: str) -> bool:
    return after.isalnum() and not before.isalnum()


_PLACES: Mapping[str, Callable[[str, str], bool]] = {
    **dict.fromkeys("“„‘‚", _opens),
    "’": lambda before, _: before.isalpha(),
    "”": lambda before, _: not before.isspace(),
    **dict.fromkeys("–—…•", lambda before, after: not (before.isalpha() and after.isalpha())),
}
