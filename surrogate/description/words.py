# ruff: noqa: E501 (one line a language)
"""The words by which people say when, in the languages that albums and backs of prints are written in.

Month and season names follow the Unicode Common Locale Data Repository (from memory); abbreviations and words
for "about" are common practice, no source.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping


def plain_word(text: str) -> str:
    """Lower case, without accents; digits of every script as 0-9; one kind of dash and apostrophe."""
    spread = unicodedata.normalize("NFKD", text).casefold()
    letters = []
    for mark in spread:
        if unicodedata.combining(mark):
            continue
        digit = unicodedata.digit(mark, None)
        letters.append(_SIGNS.get(mark, mark) if digit is None else str(digit))
    return " ".join("".join(letters).split())


_SIGNS: Mapping[str, str] = {
    **dict.fromkeys("‐‑‒–—―−", "-"),
    **dict.fromkeys("’‘‛′`´", "'"),
    **dict.fromkeys("“”„«»", '"'),
    "∼": "~",
    "⁓": "~",
    "⁄": "/",
}


def _words(text: str) -> tuple[str, ...]:
    return tuple(text.split(", "))


# One row a language, twelve months divided by |, spellings by spaces.
_MONTHS = """
january jan|february feb|march mar|april apr|may|june jun|july jul|august aug|september sept sep|october oct|november nov|december dec
januar janner jaenner|februar feber|marz maerz mrz|april|mai|juni|juli|august|september|oktober okt|november|dezember dez
janvier janv|fevrier fevr|mars|avril avr|mai|juin|juillet juil|aout|septembre|octobre|novembre|decembre
gennaio gen|febbraio febbr|marzo|aprile|maggio magg mag|giugno giu|luglio lug|agosto ago|settembre sett set|ottobre ott|novembre|dicembre dic
enero ene|febrero|marzo|abril abr|mayo|junio|julio|agosto|septiembre setiembre|octubre|noviembre|diciembre
janeiro|fevereiro fev|marco|abril|maio|junho|julho|agosto|setembro|outubro out|novembro|dezembro
januari|februari|maart mrt|april|mei|juni|juli|augustus|september|oktober|november|december
januari|februari|mars|april|maj|juni|juli|augusti|september|oktober|november|december
januar|februar|marts|april|maj|juni|juli|august|september|oktober|november|desember des
tammikuu tammikuuta|helmikuu helmikuuta|maaliskuu maaliskuuta|huhtikuu huhtikuuta|toukokuu toukokuuta|kesakuu kesakuuta|heinakuu heinakuuta|elokuu elokuuta|syyskuu syyskuuta|lokakuu lokakuuta|marraskuu marraskuuta|joulukuu joulukuuta
styczen stycznia|luty lutego|marzec marca|kwiecien kwietnia|maj maja|czerwiec czerwca|lipiec lipca|sierpien sierpnia|wrzesien wrzesnia|pazdziernik pazdziernika|listopad listopada|grudzien grudnia
leden ledna|unor unora|brezen brezna|duben dubna|kveten kvetna|cerven cervna|cervenec cervence|srpen srpna|zari|rijen rijna|listopad listopadu|prosinec prosince
январь января янв|февраль февраля фев|март марта|апрель апреля апр|маи мая|июнь июня|июль июля|август августа авг|сентябрь сентября сент|октябрь октября окт|ноябрь ноября ноя|декабрь декабря дек
januar|februar|marcius|aprilis|majus|junius|julius|augusztus|szeptember|oktober|november|december
""".strip().splitlines()

MONTHS: Mapping[str, int] = {
    word: number
    for language in _MONTHS
    for number, words in enumerate(language.split("|"), start=1)
    for word in words.split()
}
ROMAN_MONTHS: Mapping[str, int] = {
    numeral: number
    for number, numeral in enumerate(
        ("i", "ii", "iii", "iv", "v", "vi", "vii", "viii", "ix", "x", "xi", "xii"), start=1
    )
}

# EDTF level 1: 21 spring, 22 summer, 23 autumn, 24 winter.
SEASONS: Mapping[str, int] = {
    **dict.fromkeys(_words("spring, springtime, fruhling, fruhjahr, printemps, primavera, voorjaar, lente, var, varen, forar, kevat"), 21),
    **dict.fromkeys(_words("wiosna, jaro, весна, веснои, tavasz"), 21),
    **dict.fromkeys(_words("summer, summertime, sommer, ete, estate, verano, verao, zomer, sommar, sommaren, kesa, lato, leto, лето, летом, nyar"), 22),
    **dict.fromkeys(_words("autumn, fall, herbst, automne, autunno, otono, outono, herfst, host, hosten, efterar, syksy, jesien"), 23),
    **dict.fromkeys(_words("podzim, осень, осенью, osz"), 23),
    **dict.fromkeys(_words("winter, wintertime, hiver, inverno, invierno, vinter, vintern, talvi, zima, зима, зимои, tel"), 24),
}  # fmt: skip

ABOUT: tuple[str, ...] = _words(
    "about, abt, abt., around, approximately, approx., approx, appr., circa, cca, cca., ca., ca, c., c, "
    "roughly, somewhere around, sometime around, say, near, um, etwa, ungefahr, zirka, gegen, um etwa, um "
    "ca., vers, environ, env., verso, verso il, intorno al, circa il, hacia, alrededor de, aproximadamente, "
    "aprox., por volta de, cerca de, omstreeks, ongeveer, rond, omkring, kring, cirka, rundt, noin, n., "
    "okolo, ok., kolem, asi, prib., около, ок., примерно, korul, kb., περιπου, γυρω στο, yaklasik, ~, ±, +/-, "
    "約, 约, 大约, 大約, およそ, حوالي, בערך"
)
ABOUT_AFTER: tuple[str, ...] = _words(
    "approximately, approx., approx, circa, ca., ca, or so, or thereabouts, -ish, ish, about, environ, "
    "ungefahr, korul, civari, 頃, ごろ, 前後, 左右, ~, ±, +/-"
)
PERHAPS: tuple[str, ...] = _words(
    "probably, prob., prob, possibly, poss., perhaps, maybe, presumably, likely, most likely, might be, could "
    "be, i think, wahrscheinlich, vermutlich, vielleicht, wohl, probablement, peut-etre, forse, "
    "probabilmente, probablemente, quizas, tal vez, provavelmente, talvez, waarschijnlijk, misschien, "
    "troligen, kanske, sannsynligvis, formentlig, ehka, prawdopodobnie, chyba, asi, возможно, вероятно, ?"
)
PERHAPS_AFTER: tuple[str, ...] = (
    "(?)",
    "[?]",
    "??",
    "?",
    "probably",
    "possibly",
    "perhaps",
    "maybe",
    "i think",
    "uncertain",
)
# Words that say nothing about when.
FILLERS: tuple[str, ...] = _words(
    "dated, date, taken, taken in, made, in the year, the year, year, in, on, the, from, of, during, within, "
    "sometime, some time, sometime in, some time in, im jahr, im jahre, im, am, en, le, el, nel, anno, r., rok, год, в"
)
NO_DATE: frozenset[str] = frozenset(
    word.strip("[]().")
    for word in _words(
        "n.d., n.d, nd, no date, undated, unknown, not known, date unknown, unknown date, not dated, ?, ??, ???, -, --, s.d., sans date, s.a., "
        "o.j., o. j., ohne datum, ohne jahr, undatiert, unbekannt, sin fecha, s.f., senza data, sem data, zonder datum, z.d., "
        "odaterad, udateret, u.a., bez daty, bez data, б.д., без даты, 日付不明, date inconnue"
    )
)

BEFORE: tuple[str, ...] = _words(
    "before, bef., bef, prior to, pre, pre-, earlier than, vor, avant, prima del, antes de, voor, fore, for, "
    "ennen, przed, pred, до, <"
)
AFTER: tuple[str, ...] = _words(
    "after, aft., aft, post, post-, later than, nach, apres, dopo il, despues de, depois de, na, efter, "
    "etter, jalkeen, po, после, >"
)
# The year itself may be meant.
AT_LATEST: tuple[str, ...] = _words(
    "by, no later than, not later than, not after, on or before, at the latest, spatestens, au plus tard, <="
)
AT_LATEST_AFTER: tuple[str, ...] = ("or earlier", "or before", "at the latest", "oder fruher", "ou avant")
AT_EARLIEST: tuple[str, ...] = _words(
    "no earlier than, not earlier than, not before, on or after, fruhestens, au plus tot, >="
)
AT_EARLIEST_AFTER: tuple[str, ...] = ("or later", "or after", "at the earliest", "oder spater", "ou apres", "+")
SINCE: tuple[str, ...] = ("since", "from", "seit", "depuis", "dal", "desde", "sinds", "sedan", "siden")
UNTIL: tuple[str, ...] = (
    "until",
    "till",
    "til",
    "up to",
    "to",
    "bis",
    "jusqu'en",
    "jusqu'a",
    "fino al",
    "hasta",
    "ate",
    "tot",
)
ONWARDS: tuple[str, ...] = ("onwards", "onward", "on", "and later", "and after")

EARLY: tuple[str, ...] = _words(
    "early, the early, early in, early in the, beginning of, the beginning of, beginning of the, start of, "
    "start of the, anfang, anfang der, anfang des, debut, debut des, inizio, principios de, begin"
)
MIDDLE: tuple[str, ...] = _words(
    "mid, mid-, the mid, the mid-, middle of, the middle of, middle of the, mitte, mitte der, mitte des, "
    "milieu, meta, mediados de, midden"
)
LATE: tuple[str, ...] = _words(
    "late, the late, late in, late in the, end of, the end of, end of the, ende, ende der, ende des, fin, fin "
    "des, fine, finales de, eind"
)

_TENS = ("", "", "twenties", "thirties", "forties", "fifties", "sixties", "seventies", "eighties", "nineties")
NAMED_DECADES: Mapping[str, int] = {word: ten for ten, word in enumerate(_TENS) if word} | {"fourties": 4}


def month_number(word: str) -> int | None:
    """1-12 for a month's name or its abbreviation in any of the languages known here, else None."""
    return MONTHS.get(plain_word(word).rstrip("."))
