"""The free photographs behind the sample scans: small copies in `sources/`, with where each one came from."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from PIL import Image as PillowImage
from PIL import ImageOps

from .tone import Image, from_codes8

SOURCES = Path(__file__).parent / "sources"

_FSA = "Public domain: FSA-OWI, Library of Congress, 'No known restrictions on publication'"
_WHEEL = "shipped in the scikit-image wheel"


@dataclass(frozen=True)
class Source:
    """Where a picture came from and under what terms."""

    name: str
    origin: str
    licence: str
    author: str


def _loc(name: str, number: str) -> Source:
    return Source(
        name, f"Library of Congress negative {number}, by way of github:distant-viewing/dvexplorer", _FSA, "FSA-OWI"
    )


def _book(name: str, repository: str, file: str, author: str) -> Source:
    return Source(name, f"github:openstax/{repository}, media/{file}", "Public domain, stated per picture", author)


def _wallpaper(name: str, file: str) -> Source:
    return Source(name, f"github:BuddiesOfBudgie/budgie-backgrounds, backgrounds/{file}", "CC0-1.0", "not named")


PICTURES: tuple[Source, ...] = (
    _book("market_stall", "osbooks-writing-guide", "COMP_Figure_12_02_002.jpg", "Arnaud 25, Wikimedia Commons"),
    _book("lake_valley", "osbooks-introduction-anthropology", "ANTHRO_Figure_19_03_022.jpg", "Hux, Wikimedia Commons"),
    _book("campfire", "osbooks-introduction-anthropology", "ANTHRO_Figure_14_03_013.jpg", "Jaroslav A. Polák, Flickr"),
    _wallpaper("forget_me_nots", "blue-periwinkle.jpg"),
    _wallpaper("mountain_lake", "lake-sherburne.jpg"),
    Source("cat", f"chelsea.png, {_WHEEL}", "CC0-1.0", "Stéfan van der Walt"),
    Source("coffee", f"coffee.png, {_WHEEL}", "CC0-1.0", "Rachel Michetti"),
    _loc("chapel", "LC-USE6-D-000218"),
    _loc("plank_house", "LC-USF34-T01-000357"),
    _loc("turret_house", "LC-USF34-025768"),
    _loc("flooded_house", "LC-USF34-082194"),
    _loc("pumpkins", "LC-USF33-012448"),
    _loc("pigs", "LC-USF33-011898"),
    _loc("packhorses", "LC-USF33-012346"),
    _loc("engine", "LC-USW3-019525"),
    _loc("flooded_fields", "LC-USF34-010471"),
)


def photo(name: str, size: tuple[int, int], centre: tuple[float, float] = (0.5, 0.5)) -> Image:
    """Linear picture of `size` (width, height): cropped to that shape about `centre`, then enlarged (Lanczos).

    A black-and-white negative scan rarely fills the range; it is printed so that its lightest and darkest half per cent
    reach white and black, as a printer would choose the paper grade.
    """
    with PillowImage.open(SOURCES / f"{name}.jpg") as picture:
        grey = picture.mode == "L"
        fitted = ImageOps.fit(picture, size, PillowImage.Resampling.LANCZOS, centering=centre)
    codes = np.asarray(fitted, np.float32)
    if grey:
        low, high = np.percentile(codes, [0.5, 99.5])
        codes = np.clip((codes - low) / (high - low), 0.0, 1.0) * 250.0
    return from_codes8(np.round(codes).astype(np.uint8))
