"""The page templates of this room."""

from __future__ import annotations

from functools import cache

from jinja2 import Environment, PackageLoader, StrictUndefined


@cache
def templates() -> Environment:
    """Jinja2 templates: whatever is put into them is escaped, and nothing may be missing."""
    return Environment(
        loader=PackageLoader("surrogate.handover"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
    )
