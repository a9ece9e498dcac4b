"""Every text of the desk is in one place: a file for each language in ``languages``."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from importlib.resources import files

#: The languages shipped, the first for everybody whose own is not among them.
SHIPPED = ("en", "de")


def _read(language: str) -> Mapping[str, str]:
    return tomllib.loads((files("surrogate.desk") / "languages" / f"{language}.toml").read_text("utf-8"))


LANGUAGES: Mapping[str, Mapping[str, str]] = {language: _read(language) for language in SHIPPED}


def language_for(chosen: str, accepted: str) -> str:
    """The language of a page: what the person chose, else the first that the browser asks for and we have.

    >>> language_for("", "fr-CH, de;q=0.8"), language_for("en", "de"), language_for("xx", "")
    ('de', 'en', 'en')
    """
    wanted = [chosen, *(part.split(";")[0].strip()[:2].lower() for part in accepted.split(","))]
    return next((language for language in wanted if language in LANGUAGES), SHIPPED[0])
