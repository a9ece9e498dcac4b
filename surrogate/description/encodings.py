"""Find out in which encoding a text was saved."""

from __future__ import annotations

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
    return text, "Mac Roman" if text == data.decode("mac_roman") else "Windows-1252"


def decode_legacy(data: bytes) -> str:
    """Text in Windows-1252 or Mac Roman, whichever gives more letters that belong to words."""
    windows = data.decode("cp1252", errors="replace")
    mac = data.decode("mac_roman")
    return mac if _likelihood(mac) > _likelihood(windows) else windows


def _unmarked_utf16(data: bytes) -> str | None:
    sample = data[:4096]
    even, odd = sample[0::2].count(0), sample[1::2].count(0)
    half = len(sample) // 2
    if half and odd > 0.3 * half > 3 * even:
        return "utf-16-le"
    if half and even > 0.3 * half > 3 * odd:
        return "utf-16-be"
    return None


def _likelihood(text: str) -> int:
    """How much a decoded text looks like words: accented letters beside small letters, typographic quotes."""
    score = 0
    for before, mark, after in zip(" " + text, text, text[1:] + " ", strict=False):
        if mark.isascii():
            continue
        if mark.isalpha() and mark.lower() in "àáâãäåæçèéêëìíîïñòóôõöøùúûüýÿœßšž":
            small = before.islower() or after.islower()
            misplaced = mark.isupper() and before.islower()
            score += 2 if small and not misplaced else -1 if misplaced else 1
        elif mark in "‘’“”„–—…°£€«»½©":
            score += 1
        else:
            score -= 3
    return score
