"""The typed records that pass between rooms and make up ``manifest.json``.

All records are frozen. The manifest's JSON Schema is generated from :class:`Manifest`, never written by hand.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

Triple = tuple[float, float, float]


class Record(BaseModel):
    """A frozen record that refuses keys it does not know."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)


class Kind(StrEnum):
    """Kinds of original."""

    SILVER_PRINT = "silver-print"
    COLOUR_PRINT = "colour-print"
    NEGATIVE = "negative"
    CLIPPING = "clipping"
    DOCUMENT = "document"
    ALBUM_PAGE = "album-page"
    TARGET = "target"
    UNKNOWN = "unknown"


class Side(StrEnum):
    """Sides of an original."""

    RECTO = "recto"
    VERSO = "verso"

    @property
    def letter(self) -> str:
        """The letter in file names: ``r`` or ``v``."""
        return self.value[0]


#: Kinds whose sheet is paper with something on it: the base is seen between the letters.
PAPER_KINDS = frozenset({Kind.CLIPPING, Kind.DOCUMENT})


class Use(StrEnum):
    """What a copy is for."""

    VIEWING = "viewing"
    READING = "reading"
    PRINT = "print"
    THUMBNAIL = "thumbnail"


class Strength(StrEnum):
    """How strongly a copy is corrected; ``none`` leaves it alone."""

    NONE = "none"
    GENTLE = "gentle"
    STANDARD = "standard"
    STRONG = "strong"


class Tone(StrEnum):
    """Image tone of a silver print's copy."""

    AS_FOUND = "as found"
    NEUTRAL = "neutral"
    WARM = "warm"


class Grade(StrEnum):
    """How badly something has faded or stained."""

    NONE = "none"
    SLIGHT = "slight"
    MODERATE = "moderate"
    SEVERE = "severe"
    NOT_MEASURABLE = "not measurable"


class Fade(Record):
    """Loss of image density, as a share of the estimated original density above the base."""

    grade: Grade
    density_min: Triple | None = Field(description="lightest R, G, B density found in the picture")
    density_max: Triple | None = Field(description="darkest R, G, B density found in the picture")
    density_loss: Triple | None = Field(description="share lost per dye C, M, Y; silver: one value three times")
    uncertainty: Triple | None = Field(description="half-width of the 68 % interval of density_loss")
    note: str = ""


class Region(Record):
    """One outlined mark on the original."""

    kind: str
    box_mm: tuple[float, float, float, float] | None = Field(description="x, y, width, height from top left")
    area_fraction: float
    delta_e: float = Field(description="CIEDE2000 to the surroundings")
    confidence: float | None = None


class Stain(Record):
    """Discolouration of base and paper."""

    grade: Grade
    area_fraction: float | None
    yellowness_index: float | None = Field(description="ASTM E313, D65, 2 degrees, of the base")
    base_lab: Triple | None = Field(description="CIELAB D50 of the base")
    regions: list[Region] = []
    note: str = ""


class Condition(Record):
    """What was measured on one side of an original."""

    side: Side
    fade: Fade
    stain: Stain


class Fidelity(Record):
    """Proof, measured on the copy, that it stayed true to the scan."""

    clipped_black: float = Field(description="share of pixels at the lowest code that were not there before")
    clipped_white: float = Field(description="share of pixels at the highest code that were not there before")
    largest_gain: float = Field(description="largest density contrast gain of the recipe")
    structure: float = Field(description="structural similarity of gradients to the scan, 0-1")


class GivenProfile(Record):
    """A scanner's ICC profile from the settings, through which a scan that embeds none was read."""

    name: str = Field(description="as its description tag says")
    file: str = Field(description="where the collection keeps it")
    sha256: str


class Master(Record):
    """The untouched scan of one side."""

    side: Side
    file: str
    sha256: str
    bytes: int
    width: int
    height: int
    bits: int = Field(description="bits per channel")
    ppi: float | None
    profile: str | None = Field(description="name of the embedded colour profile")
    given_profile: GivenProfile | None = Field(
        default=None, description="the scanner's profile that its copies were made through, where none is embedded"
    )
    scanned_as: str = Field(description="name of the file that was taken in")
    page: int = Field(default=0, description="page of the file, from 0; front and back may share a file")


class Copy(Record):
    """A file made from a master."""

    use: Use
    side: Side
    part: int | None
    file: str
    sha256: str
    width: int
    height: int
    recipe: str | None
    master_sha256: str
    fidelity: Fidelity | None


class Location(Record):
    """Where the original lies."""

    box: str = ""
    folder: str = ""
    enclosure: str = ""


class Text(Record):
    """A recognised text (ALTO 4 XML)."""

    side: Side
    file: str
    language: str
    mean_confidence: float | None


class Priority(Record):
    """Place in the queue: 1 = copy, house or treat first."""

    rank: int
    reason: str


class Original(Record):
    """One physical thing with everything known about it."""

    reference: str
    kind: Kind
    kind_confidence: float | None
    title: str = ""
    caption: str = ""
    date: str = Field(default="", description="EDTF where it could be understood, else as written")
    people: list[str] = []
    place: str = ""
    inscription: str = ""
    creator: str = ""
    rights: str = ""
    location: Location = Location()
    access: str = ""
    approved: bool = False
    notes: str = ""
    priority: Priority | None = None
    same_picture_as: list[str] = []
    earlier_numbers: list[str] = Field(default=[], description="numbers of originals that became a side of this one")
    texts: list[Text] = []
    masters: list[Master] = []
    condition: list[Condition] = []
    copies: list[Copy] = []


class Lot(Record):
    """What was seen of each print that was kept with one, itself included: see :mod:`surrogate.condition.lot`."""

    glances: tuple[str, ...]
    place: int = Field(description="which of the glances is its own, from 0")


class LeafSide(Record):
    """The scan of the other side of a leaf, and how its copies show it; ``outline`` as in recipes."""

    master: str = Field(description="path in the collection")
    sha256: str
    page: int = Field(default=0, description="page of that file, from 0")
    turn: Literal[0, 90, 180, 270] = 0
    outline: tuple[tuple[float, float], ...] | None = None
    given_profile: GivenProfile | None = None


class SetAside(Record):
    """A scan that was not taken in."""

    file: str
    reason: str
    advice: str


class CollectionInfo(Record):
    """The collection as its manifest names it."""

    name: str
    credit: str
    rights: str


class Software(Record):
    """What wrote the manifest."""

    name: str
    version: str


class Manifest(Record):
    """The whole of ``manifest.json``."""

    schema_: Literal["surrogate-manifest/1"] = Field(default="surrogate-manifest/1", alias="schema")
    collection: CollectionInfo
    software: Software
    originals: list[Original]
    set_aside: list[SetAside]


class Caption(Record):
    """What people wrote about one side of an original (one row of the caption sheet)."""

    title: str = ""
    caption: str = ""
    date: str = ""
    people: list[str] = []
    place: str = ""
    inscription: str = ""
    creator: str = ""
    rights: str = ""
    credit: str = ""
    box: str = ""
    folder: str = ""
    enclosure: str = ""
    lot: str = ""
    strength: Strength | None = None
    tone: Tone | None = None
    access: str = ""
    approved: bool = False
    notes: str = ""
    kind: Kind | None = None
    faces: str = Field(default="", description="who is where on the front: see surrogate.description.faces")
    turn: Literal[0, 90, 180, 270] = Field(default=0, description="degrees clockwise to set the scan upright")
