"""Where things lie on the site, as paths within it and as addresses for the world."""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import quote, urlsplit

from surrogate.errors import WrongUse

#: Address used inside IIIF files while the site has none of its own: what a look at it on one's own machine uses
#: (``python3 -m http.server`` in the site's folder).
NO_BASE = "http://localhost:8000/"


@dataclass(frozen=True)
class Addresses:
    """Turns paths within the site into addresses. ``public`` is False while the site has no address of its own."""

    base: str
    public: bool

    def of(self, path: str) -> str:
        """The address of a file of the site."""
        return self.base + quote(path)

    def public_of(self, path: str) -> str:
        """The address of a file, empty while the site has none."""
        return self.of(path) if self.public else ""


def addresses(base: str | None) -> Addresses:
    """The addresses of a site at ``base``. Raises :class:`WrongUse` when that is not a web address."""
    if base is None:
        return Addresses(NO_BASE, public=False)
    parts = urlsplit(base.strip())
    if parts.scheme not in {"http", "https"} or not parts.netloc or parts.query or parts.fragment:
        raise WrongUse(f"{base!r} is not the address of a site. Give one like https://example.org/archive/.")
    return Addresses(base.strip().rstrip("/") + "/", public=True)


def item_page(name: str) -> str:
    """Page of one item."""
    return f"items/{name}.html"


def pictures(key: str) -> str:
    """Folder of one picture's files; its IIIF image service too."""
    return f"iiif/{key}"


def item_manifest(name: str) -> str:
    """IIIF manifest of one item."""
    return f"iiif/{name}/manifest.json"
