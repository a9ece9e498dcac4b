"""Pictures for the pages: copies from the collection, and what is made on the fly. No address is taken for a path."""

from __future__ import annotations

import atexit
import threading
from collections.abc import Callable
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, Response

from surrogate import wording
from surrogate.collection import paths, profiles, settings
from surrogate.collection.catalogue import Catalogue, open_catalogue
from surrogate.collection.numbering import name_of
from surrogate.desk.room import Room, master_of, side_of
from surrogate.desk.shelf import view_of
from surrogate.errors import ScanSetAside
from surrogate.jobs import Decisions
from surrogate.records import Kind, Side, Strength, Tone

if TYPE_CHECKING:
    from surrogate.previewing import Look, Viewer

#: Pictures that every browser shows; a print copy (TIFF) is not for the desk.
_MEDIA = {".jpg": "image/jpeg", ".png": "image/png"}

#: Copies change only by `process`; what is made on the fly has its decisions in the address.
_FOR_A_MINUTE = {"cache-control": "private, max-age=60"}


class Pictures:
    """The routes of pictures."""

    def __init__(self, room: Room) -> None:
        self._room = room
        self._opening = threading.Lock()

    @cached_property
    def _viewer(self) -> Viewer:
        from surrogate.previewing import Viewer  # loads what reads scans: a second that the first page must not wait

        viewer = Viewer()
        atexit.register(viewer.close)
        return viewer

    def close(self) -> None:
        """Take away what was made for looking."""
        if "_viewer" in self.__dict__:
            self._viewer.close()

    def copy(self, request: Request) -> Response:
        """A copy, found in the catalogue by number, side and use."""
        asked = request.path_params
        part = request.query_params.get("part", "")
        with open_catalogue(self._room.folder) as catalogue:
            reference = catalogue.reference_named(asked["name"])
            copies = [row.copy for row in catalogue.copies(reference)] if reference else []
        wanted = (asked["side"], asked["use"], part)
        found = [copy for copy in copies if (copy.side.value, copy.use.value, str(copy.part or "")) == wanted]
        return self._file(found[0].file if found else "", "copies")

    def marks(self, request: Request) -> Response:
        """The original as it is with the marks outlined that were found on it."""
        return self._file(paths.condition(self._room.reference(request), side_of(request), "png"), "condition")

    def as_found(self, request: Request) -> Response:
        """What the copy shows, as it was scanned."""
        return self._made(lambda viewer, look: viewer.as_found(look), request)

    def scan(self, request: Request) -> Response:
        """The whole scan, upright and turned as decided, for drawing outlines on."""
        return self._made(lambda viewer, look: viewer.as_found(look), request, whole=True)

    def preview(self, request: Request) -> Response:
        """The copy as the next run will make it, or would make it with another strength and tone."""
        asked = request.query_params
        reference, side = self._room.reference(request), side_of(request)
        with open_catalogue(self._room.folder) as catalogue:
            decided = decided_for(self._room.folder, catalogue, reference, side)
        strength = Strength(asked["strength"]) if asked.get("strength") in set(Strength) else decided.strength
        if "strength" in asked and not asked["strength"]:
            strength = decided.copies.strength
        tone = Tone(asked["tone"]) if asked.get("tone") in set(Tone) else decided.tone
        if "tone" in asked and not asked["tone"]:
            tone = Tone.AS_FOUND
        part = _part(asked.get("part", ""))
        return self._made(lambda viewer, look: viewer.preview(look, strength, tone, part), request)

    def tile(self, request: Request) -> Response:
        """A tile of a master."""
        asked = request.path_params
        reference, side = self._room.reference(request), side_of(request)
        with open_catalogue(self._room.folder) as catalogue:
            master = master_of(catalogue, reference, side)
        if max(asked["level"], asked["column"], asked["row"]) > 10_000:
            raise HTTPException(404)
        viewer = self._open_viewer()
        tile = viewer.tile(self._inside(master.file), master, asked["level"], asked["column"], asked["row"])
        if tile is None:
            raise HTTPException(404)
        return Response(tile, media_type="image/jpeg", headers=_FOR_A_MINUTE)

    def closer(self, request: Request) -> Response:
        """Front and back side by side, down to the scan's own pixels."""
        from surrogate.previewing import TILE_PX, levels

        reference = self._room.reference(request)
        with open_catalogue(self._room.folder) as catalogue:
            masters = catalogue.masters(reference)
            caption = catalogue.caption(reference, Side.RECTO)
        return self._room.page(
            request,
            "closer.html",
            reference=reference,
            name=name_of(reference),
            title=caption.title,
            tile=TILE_PX,
            sides=[(master.side.value, levels(master.width, master.height), master) for master in masters],
            within=view_of(request.query_params).address(),
        )

    # parts

    def _open_viewer(self) -> Viewer:
        with self._opening:
            return self._viewer

    def _made(self, make: Callable[[Viewer, Look], bytes | None], request: Request, *, whole: bool = False) -> Response:
        look = self._look(request, whole=whole)
        picture = make(self._open_viewer(), look)
        if picture is None:
            raise HTTPException(404)
        return Response(picture, media_type="image/jpeg", headers=_FOR_A_MINUTE)

    def _look(self, request: Request, *, whole: bool) -> Look:
        from surrogate.previewing import Look

        reference, side = self._room.reference(request), side_of(request)
        with open_catalogue(self._room.folder) as catalogue:
            master = master_of(catalogue, reference, side)
            decided = decided_for(self._room.folder, catalogue, reference, side)
            row = catalogue.original(reference)
            drawn = [each for each in catalogue.outlines(reference, side) if each.corners is not None]
        kind = decided.kind or (row.kind if row else Kind.UNKNOWN)
        if side is Side.VERSO:
            kind = Kind.DOCUMENT
        elif len(drawn) > 1:
            kind = Kind.ALBUM_PAGE
        return Look(
            collection=self._room.folder,
            master=self._inside(master.file),
            sha256=master.sha256,
            side=side,
            kind=kind,
            turn=decided.turn,
            outline=None if whole or len(drawn) != 1 else drawn[0].corners,
            long_edge_px=decided.copies.viewing_long_edge,
            parts=tuple((each.part, each.corners) for each in drawn if each.corners) if len(drawn) > 1 else (),
            lot=decided.lot,
            profile=decided.profile,
            page=master.page,
            other=decided.other,
        )

    def _inside(self, file: str) -> Path:
        path = (self._room.folder / file).resolve()
        if not path.is_relative_to(self._room.folder / "masters") or not path.is_file():
            raise ScanSetAside("The master is not there.", "Run `surrogate audit`.")
        return path

    def _file(self, name: str, area: str) -> Response:
        """A picture of the collection; nothing outside ``area`` is ever answered, wherever a name or a link leads."""
        file = (self._room.folder / name).resolve()
        media = _MEDIA.get(file.suffix)
        if not name or media is None or not file.is_relative_to(self._room.folder / area) or not file.is_file():
            raise HTTPException(404)
        return FileResponse(file, media_type=media, headers=_FOR_A_MINUTE)


def _part(text: str) -> int | None:
    """The number of a picture on a page that an address names; None for the whole. Raises HTTPException 404."""
    if not text:
        return None
    if not (text.isascii() and text.isdigit() and len(text) < 4):
        raise HTTPException(404)
    return int(text)


def decided_for(folder: Path, catalogue: Catalogue, reference: str, side: Side) -> Decisions:
    """The decisions that the next run will follow for one side. Raises HTTPException 404 where it was not scanned."""
    row = catalogue.original(reference)
    if row is None:
        raise HTTPException(404)
    master = master_of(catalogue, reference, side)
    found = settings.read(folder)
    return wording.decisions_again(catalogue, found, profiles.read(folder, found), row, master)
