"""Scans of fading photographs and paper become a numbered collection that people can trust.

The commands are functions too, each returning a typed report::

    from pathlib import Path
    from surrogate import process
    report = process([Path("scans")], Path("collection"))

They are imported when first asked for, so that ``import surrogate`` costs nothing.
"""

from importlib import import_module
from typing import TYPE_CHECKING

from surrogate._version import __version__

if TYPE_CHECKING:
    from surrogate.auditing import audit
    from surrogate.collection.listing import read as read_manifest
    from surrogate.demonstrating import demo
    from surrogate.processing import process
    from surrogate.rebuilding import rebuild
    from surrogate.records import Manifest, Original
    from surrogate.rehearsing import rehearse

__all__ = [
    "Manifest",
    "Original",
    "__version__",
    "audit",
    "demo",
    "process",
    "read_manifest",
    "rebuild",
    "rehearse",
]

_HOMES = {
    "Manifest": ("surrogate.records", "Manifest"),
    "Original": ("surrogate.records", "Original"),
    "audit": ("surrogate.auditing", "audit"),
    "demo": ("surrogate.demonstrating", "demo"),
    "process": ("surrogate.processing", "process"),
    "read_manifest": ("surrogate.collection.listing", "read"),
    "rebuild": ("surrogate.rebuilding", "rebuild"),
    "rehearse": ("surrogate.rehearsing", "rehearse"),
}


def __getattr__(name: str) -> object:
    """Import a public name when it is first used."""
    try:
        module, attribute = _HOMES[name]
    except KeyError:
        raise AttributeError(f"module 'surrogate' has no attribute {name!r}") from None
    return getattr(import_module(module), attribute)
