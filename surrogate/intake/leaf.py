"""Front and back as the two pages of one file, where the settings ask for it (``pages = "sides"``).

A file with more pages is set aside, not taken for a pile of leaves: scanners with a feeder leave out pages that are
blank, and from there on every front would be taken for the back of another.
"""

from __future__ import annotations

import re

from surrogate.errors import ScanSetAside

#: A leaf has a front and a back.
PAGES = 2


def page_name(name: str, page: int) -> str:
    """What a page of a scan, counted from 0, is called in lists: the first as its file, others with their number.

    >>> page_name("letter.tif", 0), page_name("letter.tif", 1)
    ('letter.tif', 'letter.tif, page 2')
    """
    return name if page == 0 else f"{name}, page {page + 1}"


def file_of(name: str) -> str:
    """The file that a name in lists is about.

    >>> file_of("letter.tif, page 2"), file_of("letter.tif")
    ('letter.tif', 'letter.tif')
    """
    return re.sub(r", page \d+$", "", name)


def refuse_more(pages: int) -> None:
    """Raise :class:`ScanSetAside` for a file that holds more pages than a leaf has."""
    if pages > PAGES:
        raise ScanSetAside(
            f'The file holds {pages} pages, but by pages = "sides" in collection.toml a file is one original: page 1 '
            "its front, page 2 its back.",
            "Have the scanner begin a new file after every two pages and scan it again, or, where all pages belong to "
            'one original, take it in with pages = "parts".',
        )
