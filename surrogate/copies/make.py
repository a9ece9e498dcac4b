"""From master and recipe to the pixels of a copy: the one path that making and rebuilding share."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt

from surrogate.collection import profiles
from surrogate.collection.files import sha256_of
from surrogate.errors import ScanSetAside
from surrogate.imaging import encode
from surrogate.imaging.density import Floats, Pixels, to_density
from surrogate.imaging.input_profile import InputProfile
from surrogate.imaging.read import Raster, read_header, read_reduced
from surrogate.records import LeafSide, Use
from surrogate.recovery import show_through
from surrogate.recovery.play import Playable, play
from surrogate.recovery.recipe import Recipe, Step

Corners = Sequence[tuple[float, float]]

_PUT_BACK = "Put it back from your other copy; see `surrogate audit`."

_TURNS = {90: cv2.ROTATE_90_CLOCKWISE, 180: cv2.ROTATE_180, 270: cv2.ROTATE_90_COUNTERCLOCKWISE}


def outline_size(corners: Corners) -> tuple[float, float]:
    """(width, height) of the straightened picture inside four corners, in the corners' own units."""
    points = np.array(corners, dtype=np.float64)
    sides = np.linalg.norm(points - np.roll(points, -1, axis=0), axis=1)
    return float((sides[0] + sides[2]) / 2), float((sides[1] + sides[3]) / 2)


def turned(pixels: Pixels, degrees: int) -> Pixels:
    """Pixels turned clockwise by 0, 90, 180 or 270 degrees."""
    if degrees == 0:
        return pixels
    out: Pixels = cv2.rotate(pixels, _TURNS[degrees])
    return out


def picture(
    master: Path,
    *,
    turn: int,
    outline: Corners | None,
    long_edge_px: int,
    page: int = 0,
    given: InputProfile | None = None,
) -> Raster:
    """Read from a master what a copy shows: upright, turned, trimmed to its outline and straightened.

    The result is sRGB, (H, W, 3) uint8 or uint16, at most ``long_edge_px`` long and never larger than the scan.
    ``outline`` is four corners in master pixels after turning, clockwise from top left; ``given`` is the scanner's
    profile, for a master that embeds none.
    """
    if outline is None:
        raster = read_reduced(master, long_edge_px, page, given)
        return Raster(turned(raster.pixels, turn), raster.scale, raster.ppi, raster.profile)
    header = read_header(master, page)
    width, height = outline_size(outline)
    wanted = min(1.0, long_edge_px / max(width, height))
    raster = read_reduced(master, max(1, round(max(header.width, header.height) * wanted)), page, given)
    return straightened(Raster(turned(raster.pixels, turn), raster.scale, raster.ppi, raster.profile), outline)


def straightened(raster: Raster, outline: Corners) -> Raster:
    """The picture inside ``outline`` (master pixels) cut out of a reduced raster and made rectangular."""
    width, height = outline_size(outline)
    size = (max(1, round(width * raster.scale)), max(1, round(height * raster.scale)))
    # Corners are points between pixels; OpenCV counts from pixel centres.
    source = (np.array(outline) * raster.scale - 0.5).astype(np.float32)
    target = np.array([(0, 0), (size[0], 0), (size[0], size[1]), (0, size[1])], dtype=np.float32) - np.float32(0.5)
    warp = cv2.getPerspectiveTransform(source, target)
    pixels: Pixels = cv2.warpPerspective(
        raster.pixels, warp, size, flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE
    )
    return Raster(pixels, raster.scale, raster.ppi, raster.profile)


def back_of(collection: Path, scan: LeafSide) -> tuple[Floats, float | None]:
    """(density (H, W, 3), ppi) of a leaf's other side. Raises :class:`ScanSetAside` where its scan is not as it was."""
    path = collection / scan.master
    if not path.is_file():
        raise ScanSetAside(f"The scan of its other side, {scan.master}, is missing.", _PUT_BACK)
    if sha256_of(path) != scan.sha256:
        raise ScanSetAside(f"The scan of its other side, {scan.master}, has changed.", _PUT_BACK)
    given = profiles.kept(collection, scan.given_profile)
    raster = picture(
        path,
        turn=scan.turn,
        outline=scan.outline,
        long_edge_px=show_through.NODES_PX,
        page=scan.page,
        given=given,
    )
    return to_density(raster.pixels), raster.ppi


def playable(steps: Sequence[Step], collection: Path) -> list[Playable]:
    """A recipe's steps with what they need from other scans. Raises :class:`ScanSetAside` as :func:`back_of` does."""
    return show_through.laid(steps, lambda scan: back_of(collection, scan)[0])


def rendered(raster: Raster, steps: Sequence[Playable]) -> npt.NDArray[np.uint8]:
    """The copy's pixels, (H, W, 3) uint8 sRGB."""
    return np.asarray(play(steps, raster.pixels, bits=8), dtype=np.uint8)


def reduced(pixels: npt.NDArray[np.uint8], long_edge_px: int) -> npt.NDArray[np.uint8]:
    """Pixels reduced to ``long_edge_px``, averaged by area; never enlarged.

    Halving is ten times as fast as any other reduction, so large pictures are halved first; the last row or column of
    an odd side is left out then.
    """
    while max(pixels.shape[:2]) >= 2 * long_edge_px and min(pixels.shape[:2]) > 1:
        half = (pixels.shape[1] // 2, pixels.shape[0] // 2)
        pixels = np.asarray(cv2.resize(pixels[: 2 * half[1], : 2 * half[0]], half, interpolation=cv2.INTER_AREA))
    height, width = pixels.shape[:2]
    factor = long_edge_px / max(height, width)
    if factor >= 1:
        return pixels
    size = (max(1, round(width * factor)), max(1, round(height * factor)))
    return np.asarray(cv2.resize(pixels, size, interpolation=cv2.INTER_AREA))


def outputs(
    pixels: npt.NDArray[np.uint8], recipe: Recipe, ppi: float | None
) -> list[tuple[Use, npt.NDArray[np.uint8], float | None]]:
    """The files that one recipe gives: (use, pixels, ppi) of the copy and, for a viewing copy, its thumbnail."""
    made = [(Use(recipe.use), pixels, ppi)]
    if recipe.thumbnail_long_edge_px is not None:
        small = reduced(pixels, recipe.thumbnail_long_edge_px)
        made.append((Use.THUMBNAIL, small, None if ppi is None else ppi * small.shape[1] / pixels.shape[1]))
    return made


def from_recipe(
    recipe: Recipe, master: Path, given: InputProfile | None, steps: Sequence[Playable]
) -> tuple[npt.NDArray[np.uint8], float | None]:
    """Replay a recipe on its master: (pixels, ppi).

    ``given`` is the scanner's profile that the recipe names, ``steps`` what :func:`playable` makes of its steps.
    """
    limit = recipe.long_edge_px or 10**6
    raster = picture(
        master, turn=recipe.turn, outline=recipe.outline, long_edge_px=limit, page=recipe.page, given=given
    )
    ppi = raster.ppi
    if ppi is None and recipe.ppi_assumed is not None:
        ppi = recipe.ppi_assumed * raster.scale
    return rendered(raster, steps), ppi


def write_jpeg(pixels: npt.NDArray[np.uint8], path: Path, *, quality: int, ppi: float | None) -> None:
    """Encode a copy."""
    encode.jpeg(pixels, path, quality=quality, ppi=ppi)
