"""Pictures for the screen that are made when somebody looks: a copy under another decision, the scan as found, tiles
of a master at its full resolution. Nothing here changes a collection. Masters are read in child processes with limits
of time and memory, as scans are: what crashes a decoder must not end the desk.
"""

from __future__ import annotations

import shutil
import tempfile
import threading
from collections import OrderedDict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Generic, Literal, TypeVar

import numpy as np
import numpy.typing as npt
import pyvips

from surrogate import running
from surrogate.condition.measure import Measured
from surrogate.copies import make
from surrogate.crew import Crew
from surrogate.errors import ScanSetAside
from surrogate.imaging.encode import jpeg_bytes
from surrogate.imaging.input_profile import InputProfile
from surrogate.imaging.read import Raster, as_srgb, open_turned, read_reduced
from surrogate.looking import Shown, look_at, measure_pictures, proxy_density
from surrogate.records import Kind, LeafSide, Lot, Master, Side, Strength, Tone, Use
from surrogate.recovery import plans, show_through
from surrogate.recovery.show_through import Seen

#: Long edge of pictures made for the page: wider than half a large screen.
SHOWN_PX = 1280

#: JPEG quality of what is only looked at.
QUALITY = 88

#: Edge of a tile in pixels, as on the published site.
TILE_PX = 512

#: Child processes that read masters: a preview need not wait until a large master is cut into tiles.
_READERS = 2

#: Masters whose tiles are kept ready, and measured pictures whose preview is; each of the latter takes some 20 MB.
_PYRAMIDS, _MEASURED = 6, 2

Corners = tuple[tuple[float, float], ...]
_Value = TypeVar("_Value")


@dataclass(frozen=True)
class Look:
    """One side of an original as its copy shows it, on the page ``page`` of its master's file; ``outline`` None is the
    whole frame. ``parts`` are the outlines of the pictures on a page, by their number; ``other`` is the other side of a
    leaf in the ``collection``.
    """

    collection: Path
    master: Path
    sha256: str
    side: Side
    kind: Kind
    turn: Literal[0, 90, 180, 270]
    outline: Corners | None
    long_edge_px: int
    lot: Lot | None = None
    profile: InputProfile | None = None
    other: LeafSide | None = None
    parts: tuple[tuple[int, Corners], ...] = ()
    page: int = 0


@dataclass(frozen=True)
class Levels:
    """A master cut into tiles: its size, and how often it was halved until one tile holds it."""

    width: int
    height: int
    levels: int


@dataclass(frozen=True)
class _Ready:
    """The whole (``raster``), and kind, condition and density of the whole (None) and of each part by its number."""

    raster: Raster
    pictures: Mapping[int | None, tuple[Kind, Measured, npt.NDArray[np.float32]]]
    seen: Seen | None


@dataclass
class _Kept(Generic[_Value]):
    """The last few results of a costly function; one is made at a time."""

    most: int
    drop: Callable[[_Value], None] = lambda _value: None
    _kept: OrderedDict[object, _Value] = field(default_factory=OrderedDict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def get(self, key: object, make_it: Callable[[], _Value]) -> _Value:
        with self._lock:
            if key not in self._kept:
                while len(self._kept) >= self.most:
                    self.drop(self._kept.popitem(last=False)[1])
                self._kept[key] = make_it()
            self._kept.move_to_end(key)
            return self._kept[key]


class Viewer:
    """Makes pictures for one desk. May be asked from several threads. Use :meth:`close` at the end."""

    def __init__(self) -> None:
        self._crew = Crew(_READERS, _limit_s)
        self._folder = Path(tempfile.mkdtemp(prefix="surrogate-"))
        self._measured: _Kept[_Ready] = _Kept(_MEASURED)
        self._pyramids: _Kept[Path] = _Kept(_PYRAMIDS, lambda path: path.unlink(missing_ok=True))

    def close(self) -> None:
        """Take away the tiles, and break off what is being read."""
        self._crew.abandon()
        shutil.rmtree(self._folder, ignore_errors=True)

    def preview(self, look: Look, strength: Strength, tone: Tone, part: int | None = None) -> bytes | None:
        """The viewing copy as ``process`` would make it with this strength and tone, as JPEG of :data:`SHOWN_PX`; with
        ``part``, that of one picture on a page. None for a part that is not there.

        Raises :class:`ScanSetAside` where the master cannot be read.
        """
        ready = self._measured.get(look, lambda: self._read(_measured, look))
        if part not in ready.pictures:
            return None
        kind, measured, density = ready.pictures[part]
        plan = plans.plan(
            density,
            measured,
            kind=kind,
            side=look.side,
            use=Use.VIEWING,
            tone=tone,
            strength=strength,
            seen=ready.seen if part is None else None,
        )
        raster = ready.raster
        if part is not None:
            outline = dict(look.parts)[part]
            raster = self._read(_picture, look, outline)
        steps = self._read(make.playable, plan.steps, look.collection)
        return jpeg_bytes(make.reduced(make.rendered(raster, steps), SHOWN_PX), quality=QUALITY)

    def as_found(self, look: Look) -> bytes:
        """The same part of the scan as it is, as JPEG of :data:`SHOWN_PX`. Raises :class:`ScanSetAside`."""
        raster = self._read(_picture, look, look.outline)
        return jpeg_bytes(make.rendered(raster, []), quality=QUALITY)

    def tile(self, file: Path, master: Master, level: int, column: int, row: int) -> bytes | None:
        """One tile as JPEG: level 0 is the master's own resolution, each further one half of it. None outside.

        The master is decoded once, in a stream, into a temporary tiled file; the browser never gets more than a tile.
        Raises :class:`ScanSetAside`.
        """
        path = self._folder / f"{master.sha256}_{master.page}.tif"
        pyramid = self._pyramids.get(path.name, lambda: self._read(_cut, file, master.page, path))
        try:
            image = pyvips.Image.tiffload(str(pyramid), page=level)
            left, top = column * TILE_PX, row * TILE_PX
            if left >= image.width or top >= image.height:
                return None
            size = (min(TILE_PX, image.width - left), min(TILE_PX, image.height - top))
            return bytes(image.crop(left, top, *size).jpegsave_buffer(Q=QUALITY, keep="none"))
        except pyvips.Error:
            return None  # no such level

    def _read(self, function: Callable[..., _Value], *arguments: object) -> _Value:
        """Call a function that reads a master in a child."""
        return self._crew.submit(function, *arguments).result()


def _cut(file: Path, page: int, path: Path) -> Path:
    """Cut a page of a master into tiles; returns ``path``. Raises :class:`ScanSetAside`."""
    try:
        image, _ = as_srgb(open_turned(file, page))  # in a stream, since a whole master may not fit into a child
        if image.format == "ushort":
            image = (image >> 8).cast("uchar").copy(interpretation="srgb")
        # libvips reads no tiles far larger than their picture; TIFF 6.0, tag 322: a multiple of 16
        edge = min(TILE_PX, -(-max(image.width, image.height) // 16) * 16)
        image.tiffsave(
            str(path),
            tile=True,
            pyramid=True,
            tile_width=edge,
            tile_height=edge,
            compression="jpeg",
            Q=92,
            keep="none",
        )
    except pyvips.Error as error:
        path.unlink(missing_ok=True)
        raise ScanSetAside("The master cannot be decoded.", "Run `surrogate audit` and look at it.") from error
    return path


def levels(width: int, height: int) -> Levels:
    """How a master of this size is cut into tiles.

    >>> levels(6000, 4000).levels
    4
    """
    count, longest = 1, max(width, height)
    while longest > TILE_PX:
        longest = longest // 2
        count += 1
    return Levels(width, height, count)


def _limit_s(arguments: Sequence[object]) -> float:
    """Seconds that reading a master may take, by its size."""
    return running.limit_s([one.master if isinstance(one, Look) else one for one in arguments])


def _picture(look: Look, outline: Corners | None) -> Raster:
    return make.picture(
        look.master, turn=look.turn, outline=outline, long_edge_px=SHOWN_PX, page=look.page, given=look.profile
    )


def _measured(look: Look) -> _Ready:
    whole = read_reduced(look.master, look.long_edge_px, look.page, look.profile)
    whole = Raster(make.turned(whole.pixels, look.turn), whole.scale, whole.ppi, whole.profile)
    shown = [Shown(None, look.outline), *(Shown(number, outline) for number, outline in look.parts)]
    raster = look_at(whole, shown[0])
    _, pictures = measure_pictures(whole, shown, proxy_density(raster), look.kind, look.side, look.lot)
    seen = None
    if look.other is not None and len(shown) == 1:
        density = pictures[None][2]
        ppi = None if raster.ppi is None else raster.ppi * density.shape[1] / raster.pixels.shape[1]
        seen = show_through.find(density, ppi, *make.back_of(look.collection, look.other), look.other)
    return _Ready(raster, pictures, seen)
