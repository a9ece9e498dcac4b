"""The recipe: what was done to a copy, small enough to keep for ever and exact enough to replay.

A recipe is a list of steps that act on optical density ``D = -log10(R)`` of linear sRGB reflectance, in
order. It holds no pixels and no picture content, so it cannot draw anything that was not there, and it
plays on any size and bit depth of the same master.
"""

from __future__ import annotations

import re
from typing import Annotated, Literal

from pydantic import Field

from surrogate.records import GivenProfile, LeafSide, Record, Triple

#: An innermost list of numbers, spread over lines; text in JSON holds no line breaks.
_ROW = re.compile(r"\[\n[\s\d.,eE+-]*\]")


class Curves(Record):
    """One piecewise-linear curve per channel (R, G, B), density in to density out.

    Each curve is a list of ``[density_in, density_out]`` knots with strictly rising ``density_in``; beyond
    the end knots the end segments are continued in a straight line.
    """

    op: Literal["curves"] = "curves"
    why: str
    red: list[tuple[float, float]]
    green: list[tuple[float, float]]
    blue: list[tuple[float, float]]


class Matrix(Record):
    """Linear mix of the three densities: ``D' = matrix @ D + offset``; rows are R, G, B."""

    op: Literal["matrix"] = "matrix"
    why: str
    matrix: tuple[Triple, Triple, Triple]
    offset: Triple = (0.0, 0.0, 0.0)


class Grid(Record):
    """A low-resolution density field that is subtracted: ``D' = D - field``.

    ``values[row][column]`` holds R, G, B densities at the centres of a ``rows`` by ``columns`` grid laid over
    the whole frame; between them the field is interpolated bicubically (OpenCV ``INTER_CUBIC`` resize).
    """

    op: Literal["field"] = "field"
    why: str
    values: list[list[Triple]]


class Plane(Record):
    """A density field of one colour that is subtracted: ``D' = D - share * unit * levels``.

    ``levels[row][column]`` are whole numbers at the centres of a grid laid over the whole frame,
    interpolated as in :class:`Grid`; ``unit`` is the density of one level and ``share`` how much of it R, G
    and B take. It holds a grid eight times finer than :class:`Grid` in the same number of bytes: tide lines,
    foxing and tape need that.
    """

    op: Literal["plane"] = "plane"
    why: str
    unit: float
    share: Triple = (1.0, 1.0, 1.0)
    levels: list[list[int]]


class OtherSide(Record):
    """What shines through from the other side of a leaf, taken out: ``D' = D - share * through``.

    ``through`` is computed from the scan of the other side: ink as absorptance above that side's paper,
    ``1 - 10^-(mix . D - paper)``, laid under this picture, and blurred by the paper (see
    :mod:`surrogate.recovery.show_through`). It is never negative, so that no point gets darker; and no point gets
    lighter than ``paper``: ``D' = max(D - share * through, min(D, paper))``.
    """

    op: Literal["other-side"] = "other-side"
    why: str
    scan: LeafSide
    way: tuple[Triple, Triple] = Field(description="points of this picture (0 to 1 each way) to points of the other")
    nodes: tuple[int, int] = Field(description="rows and columns in which the field is computed")
    mix: Triple = Field(description="weights of R, G, B of the other side in which its ink stands out most")
    unit: float = Field(description="density of one level")
    levels: list[list[int]] = Field(description="density of the other side's bare paper in the mix, as in a plane")
    least: float = Field(description="density above paper that counts as ink")
    blur: float = Field(description="standard deviation, as a share of the long side")
    share: Triple = Field(description="density in R, G, B that ink which lets no light through adds here")
    paper: tuple[list[list[int]], list[list[int]], list[list[int]]] = Field(
        description="this side's own paper in R, G, B less its texture, in units, as in a plane"
    )


Step = Annotated[Curves | Matrix | Grid | Plane | OtherSide, Field(discriminator="op")]


class Recipe(Record):
    """Everything needed to make one copy again from its master.

    ``schema`` is the version of the recipe's own format; players keep playing every earlier one.
    """

    schema_: Literal["surrogate-recipe/1"] = Field(default="surrogate-recipe/1", alias="schema")
    software: str = Field(description="name and version that planned it")
    kind: str
    use: str
    side: str
    part: int | None = None
    master: str = Field(description="path in the collection")
    master_sha256: str
    input_profile: str = Field(description="name of the profile that turned the scan into sRGB")
    given_profile: GivenProfile | None = Field(
        default=None, description="the scanner's profile from the settings, where the scan embeds none"
    )
    page: int = Field(default=0, description="which full page of a TIFF, from 0")
    turn: Literal[0, 90, 180, 270] = Field(default=0, description="degrees clockwise, after the file's own tag")
    outline: list[tuple[float, float]] | None = Field(
        default=None,
        description="corners in master pixels after turning, clockwise from top left; null = whole frame",
    )
    long_edge_px: int | None = Field(default=None, description="size limit of the copy; null = as scanned")
    ppi_assumed: float | None = Field(default=None, description="resolution of the scan when its file does not say")
    thumbnail_long_edge_px: int | None = Field(default=None, description="size of the thumbnail made along with it")
    quality: int | None = Field(default=None, description="JPEG quality 1-100; null for TIFF")
    strength: str
    tone: str
    steps: list[Step]
    words: list[str] = Field(description="what was done, for people")
    evidence: list[str] = Field(default_factory=list, description="what the measurement rests on")
    limits: list[str] = Field(default_factory=list, description="where the plan was held back, and why")
    sharpen_radius_px: float | None = Field(default=None, description="output sharpening of prints only")
    print_size_px: tuple[int, int] | None = Field(default=None, description="exact size of a print, in pixels")
    print_box_px: tuple[int, int, int, int] | None = Field(
        default=None,
        description="where the picture lies on a print: left, top, width, height; beyond the print it is cropped, "
        "short of it paper stays white",
    )
    print_ppi: float | None = Field(default=None, description="resolution of a print")


def as_written(recipe: Recipe) -> bytes:
    """A recipe as its file holds it: one line a field, and a row of a grid on one line, so that 30 kB are enough."""
    text = recipe.model_dump_json(by_alias=True, indent=1)
    return (_ROW.sub(lambda row: "".join(row.group().split()), text) + "\n").encode()


class Plan(Record):
    """What a planner returns: the steps and the words that go with them."""

    steps: list[Step]
    words: list[str] = Field(description="what will be done, for people; empty when left alone")
    evidence: list[str] = Field(default_factory=list)
    limits: list[str] = Field(default_factory=list)
