"""QR codes (ISO/IEC 18004) that hold a reference number and nothing else."""

from __future__ import annotations

from reportlab.graphics.barcode.qrencoder import QRCode, QRErrorCorrectLevel

#: Light modules that must stay free on every side (ISO/IEC 18004: 4).
QUIET_MODULES = 4


def modules(reference: str) -> list[list[bool]]:
    """The square of modules, True = dark, without the quiet zone; level Q, which survives a quarter of it lost."""
    code = QRCode(None, QRErrorCorrectLevel.Q)
    code.addData(reference)
    code.make()
    return [[bool(dark) for dark in row] for row in code.modules]
