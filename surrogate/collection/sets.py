"""Sets: originals that somebody put together under a name, as plain text files in the collection's folder ``sets``.

One reference number a line; lines that begin with ``#`` are for people. On the command line ``@NAME`` stands for the
set's numbers.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

from surrogate.collection.files import replace_if_changed
from surrogate.errors import WrongUse

FOLDER = "sets"

_NAME = re.compile(r"[^\W_][\w \-]{0,58}[\w]|[^\W_]")


def is_name(name: str) -> bool:
    """Whether a name can be that of a set: letters, digits, spaces, hyphens and underscores, at most 60.

    >>> is_name("Aunt Ada 1952"), is_name("../etc"), is_name(""), is_name("a/b")
    (True, False, False, False)
    """
    return _NAME.fullmatch(name) is not None


def names(folder: Path) -> list[str]:
    """The sets of a collection, by name."""
    return sorted((file.stem for file in (folder / FOLDER).glob("*.txt") if is_name(file.stem)), key=str.casefold)


def read(folder: Path, name: str) -> list[str]:
    """The reference numbers of a set, in its order. Raises WrongUse where there is no such set."""
    if not is_name(name) or not _file(folder, name).is_file():
        known = ", ".join(names(folder)) or "none yet"
        raise WrongUse(f"There is no set called “{name}”. Sets of this collection: {known}.")
    try:
        lines = _file(folder, name).read_text(encoding="utf-8-sig").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise WrongUse(f"{FOLDER}/{name}.txt cannot be read as UTF-8 text. Save it as such.") from error
    return list(dict.fromkeys(line.strip() for line in lines if line.strip() and not line.startswith("#")))


def write(folder: Path, name: str, references: Sequence[str]) -> None:
    """Write a set anew. Raises WrongUse for a name that cannot be one."""
    if not is_name(name):
        raise WrongUse(f"A set cannot be called “{name}”: use letters, digits, spaces and hyphens, at most 60.")
    lines = [f"# Originals of the set {name}, one reference number a line.", *dict.fromkeys(references)]
    replace_if_changed(_file(folder, name), ("\n".join(lines) + "\n").encode())


def expanded(folder: Path, references: Sequence[str]) -> list[str]:
    """Reference numbers as given, with the members of a set for each ``@NAME``. Raises WrongUse for an unknown set."""
    found: list[str] = []
    for reference in references:
        found += read(folder, reference[1:]) if reference.startswith("@") else [reference]
    return list(dict.fromkeys(found))


def _file(folder: Path, name: str) -> Path:
    return folder / FOLDER / f"{name}.txt"
