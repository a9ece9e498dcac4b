"""QR codes (ISO/IEC 18004): of a label, which holds the reference number and nothing else, and of a contact sheet."""

from __future__ import annotations

from collections.abc import Iterable

#: Light modules that must stay free on every side (ISO/IEC 18004: 4).
QUIET_MODULES = 4

#: What the code of a contact sheet begins with; then its numbers, separated by spaces.
_CONTACT_START = "CONTACT SHEET"


def modules(reference: str) -> list[list[bool]]:
    """The square of modules, True = dark, without the quiet zone; level Q, which survives a quarter of it lost."""
    from reportlab.graphics.barcode.qrencoder import QRCode, QRErrorCorrectLevel  # a tenth of a second, only to draw

    code = QRCode(None, QRErrorCorrectLevel.Q)
    code.addData(reference)
    code.make()
    return [[bool(dark) for dark in row] for row in code.modules]


def contact_text(numbers: Iterable[str]) -> str:
    """What the code of a contact sheet holds: the numbers of its pictures."""
    return " ".join([_CONTACT_START, *numbers])


def numbers_in(text: str) -> tuple[str, ...]:
    """The numbers that the code of a contact sheet holds; empty for any other text."""
    return tuple(text.removeprefix(_CONTACT_START).split()) if text.startswith(_CONTACT_START + " ") else ()
