"""Where each rule of care comes from, and whether its source was read, quoted second-hand or remembered."""

from __future__ import annotations

from enum import StrEnum

from surrogate.records import Record


class Mark(StrEnum):
    """How a figure is known."""

    READ = "read"
    SECOND_HAND = "second-hand"
    MEMORY = "from memory"
    PRACTICE = "common practice, no source"


class Source(Record):
    """One source, cited by its key in brackets."""

    key: str
    title: str
    mark: Mark


SOURCES: dict[str, Source] = {
    source.key: source
    for source in (
        Source(key="N1", title="NARA, Cold Storage Handling Guidelines for Photographs, 1991", mark=Mark.READ),
        Source(key="N2", title="NFPA 40, annex A, on cellulose nitrate film", mark=Mark.READ),
        Source(key="N3", title="H-182, a manufacturer's sheet on storing nitrate film", mark=Mark.READ),
        Source(key="E1", title="ISO 18902, photographic enclosures: what is excluded", mark=Mark.READ),
        Source(key="E2", title="ISO 18902 and the trade: plastics allowed, what to take out", mark=Mark.MEMORY),
        Source(key="E3", title="CCAHA, ISO standards for housing photographs: buffered paper", mark=Mark.READ),
        Source(key="E4", title="ISO 9706:1994, compared by the Library of Congress: permanent paper", mark=Mark.READ),
        Source(key="E5", title="ANSI IT9.2-1991: unbuffered paper for colour", mark=Mark.MEMORY),
        Source(key="C1", title="ISO 18911, storage of safety film", mark=Mark.MEMORY),
        Source(key="C2", title="ISO 18920:2000, as quoted by dp3project.org: prints", mark=Mark.SECOND_HAND),
        Source(key="C3", title="ISO 18920, silver prints", mark=Mark.MEMORY),
        Source(key="C4", title="BS 4971:2017, as held in open monitoring code: paper 13-23 °C, 35-60 %",
               mark=Mark.SECOND_HAND),
        Source(key="C5", title="ISO 18934, as shown by CCAHA 2018: room, cool, cold, freezer", mark=Mark.SECOND_HAND),
        Source(key="C6", title="Wilhelm, J. Am. Inst. Conservation 21 (1981): fading doubles for each 6 °C",
               mark=Mark.READ),
        Source(key="L1", title="CIE 157:2004, annual light doses", mark=Mark.MEMORY),
        Source(key="L2", title="Doses to a just noticeable fade by ISO blue wool, without ultraviolet",
               mark=Mark.MEMORY),
        Source(key="L3", title="Canadian Conservation Institute, sorting of photographs by sensitivity to light",
               mark=Mark.READ),
        Source(key="L4", title="Wagner, McCabe, Lemmen, Topics in Photographic Preservation 9 (2000)", mark=Mark.READ),
        Source(key="L5", title="Ultraviolet: at most 75 µW/lm, 10 µW/lm with modern lamps", mark=Mark.SECOND_HAND),
        Source(key="M1", title="Conservation physics, insects and moulds: nothing of note below 50 %",
               mark=Mark.SECOND_HAND),
        Source(key="M2", title="Salvage of wet photographs within 48 hours; mould: mask and gloves", mark=Mark.MEMORY),
        Source(key="V1", title="Acid-indicator strips, levels 0 to 3", mark=Mark.MEMORY),
        Source(key="Q1", title="FADGI, Technical Guidelines, 2016, p. 86: look at 10 or 10 %, whichever is more",
               mark=Mark.READ),
        Source(key="W1", title="WMO Guide to Instruments (No. 8): Magnus formula for the dew-point", mark=Mark.MEMORY),
        Source(key="K1", title="Michalski, Double the life for each five-degree drop (ICOM-CC 2002)",
               mark=Mark.MEMORY),
        Source(key="P1", title="Handling, boxing and emergencies as conservators advise", mark=Mark.PRACTICE),
    )
}  # fmt: skip


class Rule(Record):
    """One rule and the keys of its sources."""

    text: str
    sources: tuple[str, ...]

    def cited(self) -> str:
        """The rule with its sources in brackets."""
        return f"{self.text} [{', '.join(self.sources)}]"
