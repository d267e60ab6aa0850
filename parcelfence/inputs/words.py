"""Words by which files name a utility: English, Dutch, German, French and Spanish, and the codes of published lists.

Ordinary words carry no source.  Codes are those of the Common Ground Alliance's Best Practices, appendix B (facility
identifiers), OpenStreetMap's key ``utility``, INSPIRE's utility network types and the type codes of the Vermont
inventory of sewer, storm and water lines.  Words are matched whole, never inside others.
"""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache
from typing import Final

__all__ = ["DOUBTFUL_CODES", "NEUTRAL_WORDS", "STRUCTURES", "VERMONT_TYPE_CODES", "kinds_in", "word_set", "words_of"]


def word_set(text: str) -> frozenset[str]:
    """Make a set of the words of a text, which stands more readably in code than a list of them."""
    return frozenset(text.split())


_WORDS: Final[dict[str, str]] = {
    "electric": """
        electric electrical electricity elec elect electr power powerline lighting streetlight streetlights
        streetlighting
        uge elecsvc
        elektriciteit elektriciteitskabel elektra elektrisch laagspanning middenspanning hoogspanning stroom
        stroomkabel
        landelijkhoogspanningsnet verlichting
        strom stromkabel stromleitung elektro elektrizitat niederspannung mittelspannung hochspannung beleuchtung
        strassenbeleuchtung
        electricite electrique eclairage
        electricidad electrico electrica alumbrado""",
    "gas": """
        gas natgas lpg cng propane butane methane gasline gasmain
        gasleiding gaslagedruk gashogedruk aardgas
        gasleitung erdgas gasrohr
        gaz""",
    "oil": """
        oil petroleum petrol diesel fuel gasoline kerosene hydrocarbon hydrocarbons
        olie ol erdol mineralol petrole petroleo combustible""",
    "chemical": "chemical chemicals chemicalien chemie chimique quimico",
    "steam": "steam dampf dampfleitung stoom vapeur vapor",
    "heating": """
        heating heat cooling thermal
        warmte stadsverwarming warmtenet fernwarme fernwaerme nahwarme warmeleitung heizung kalte
        chauffage calefaccion""",
    "telecom": """
        telecom telecoms telecomm telecommunication telecommunications telco tel telephone telephones phone comm
        comms
        communication communications commo catv tv television fiber fibre fiberoptic fibreoptic optical broadband
        internet
        data coax alarm
        telecommunicatie datatransport glasvezel kabeltv telefoon
        telekom telekommunikation fernmelde fernmeldekabel glasfaser lwl breitband telefon
        telephonie
        telefono telefonia telecomunicaciones telecomunicacion fibra""",
    "signals": "signal signals signalling signaling verkeerslichten verkeersregelinstallatie lichtsignalanlage",
    "water": """
        water wtr h2o potable waterline watermain hydrant
        waterleiding drinkwater drinkwaterleiding
        wasser wasserleitung trinkwasser trinkwasserleitung
        eau
        agua""",
    "fire water": "bluswater loschwasser",
    "reclaimed": """
        reclaimed recycled irrigation irrig nonpotable slurry sprinkler sprinklers greywater graywater
        beregening bewasserung arrosage irrigacion riego""",
    "sewer": """
        sewer sewers sewerage sewage sanitary san swr wastewater forcemain septic
        riool rioolleiding riolering rioolvrijverval riooloverdruk rioolonderoverdruk vrijverval afvalwater
        persleiding
        abwasser abwasserleitung abwasserkanal schmutzwasser mischwasser kanalisation
        assainissement egout egouts
        alcantarillado saneamiento cloaca cloacas""",
    "storm": """
        storm stormwater stormdrain stormsewer drain drains drainage culvert culverts underdrain runoff ditch swale
        hemelwater regenwaterafvoer regenwasser niederschlagswasser regenwasserkanal drainageleitung
        pluvial pluviale pluviales drenaje""",
    "survey": "survey benchmark",
    "proposed": "excavation",
}  # fmt: skip
_PHRASES: Final[dict[str, str]] = {
    "electric": "street light|street lights|low voltage|medium voltage|high voltage|basse tension|haute tension"
    "|baja tension|media tension|alta tension|openbare verlichting",
    "gas": "natural gas|gas natural|gaz naturel|olie gas chemicalien|oil gas chemical",
    "telecom": "cable tv|fiber optic|fibre optic|fibre optique|fibra optica|data cable|cable television|tv cable",
    "signals": "traffic signal|traffic signals|traffic light|traffic lights|feux tricolores|rail signal"
    "|railroad signal",
    "water": "potable water|drinking water|domestic water|agua potable|eau potable|raw water",
    "fire water": "fire water|fire main|fire line|fire service",
    "reclaimed": "reclaimed water|recycled water|non potable|non potable water|grey water|gray water|irrigation water",
    "sewer": "waste water|force main|sanitary sewer|combined sewer|eaux usees|eau usee|aguas residuales|aguas negras"
    "|foul water|sewer drain",
    "storm": "storm water|storm sewer|storm drain|storm drainage|roof drain|catch basin|surface water|eaux pluviales"
    "|eau pluviale|aguas pluviales|foundation drain|overland flow|rain water|footing drain",
    "heating": "hot water|chilled water|district heating|district heat|district cooling",
    "survey": "survey mark|survey marks|control point",
    "proposed": "proposed excavation|white lining|dig area|dig limits",
}
_CODES: Final[dict[str, str]] = {
    "electric": "e ug ue el elc sl bt hta htb lv mv hv",
    "gas": "g ng gm gs",
    "oil": "pp",
    "chemical": "ch",
    "telecom": "t c fo ft fon tc tlc",
    "signals": "rr ts",
    "water": "w wl wm ws fw aep",
    "sewer": "s ss fm",
    "steam": "stm",
    "storm": "sd st cb",
    "reclaimed": "rw sp irr rcw",
    "proposed": "pe",
}
"""Short codes, read only where they stand alone or beside words that say nothing."""
DOUBTFUL_CODES: Final[dict[str, str]] = {
    "stm": "STM is steam in the list of the Common Ground Alliance (from memory); some files write it for storm drains",
    "sl": "SL is street lighting in the list of the Common Ground Alliance (from memory)",
}
"""Codes whose meaning rests on memory, with what is said where they decide."""

VERMONT_TYPE_CODES: Final[dict[int, str]] = {
    2: "storm",
    3: "sewer",
    4: "storm",
    5: "storm",
    6: "storm",
    7: "storm",
    8: "storm",
    10: "storm",
    13: "sewer",
    15: "water",
    16: "storm",
    17: "storm",
    18: "storm",
    19: "water",
}
"""Line types of the Vermont inventory: 2 to 10 and 16 to 18 storm, 3 and 13 sewer, 15 and 19 water."""

NEUTRAL_WORDS: Final = word_set(
    """
    main mains line lines service services svc serv lateral laterals lat pipe pipes pipeline cable cables
    conduit duct ducts
    mk mark marks marked marking paint painted flag flags pt point shot loc locate located location utility
    utilities buried
    underground private public primary pri secondary sec feed feeder trunk distribution transmission gravity
    pressure abandoned
    existing new old proposed the of and to at in ql qlb qla qlc qld b
    leiding leidingen kabel kabels lage hoge druk mantelbuis kabelbed
    leitung leitungen kabeltrasse hausanschluss
    conduite reseau reseaux canalisation
    linea tuberia red publica domestic
    """
)
"""Words that say nothing about the kind."""

STRUCTURES: Final = word_set(
    """
    manhole manholes mh handhole vault valve valves hydrant meter pedestal ped cleanout catchbasin basin inlet
    outfall
    transformer pole pull box junction pump station tank riser cabinet curbstop
    put inspectieput afsluiter brandkraan schacht schieber hydrant regard vanne pozo arqueta valvula
    """
)
"""Words for things that stand on a line but are no point of a painted line."""


@lru_cache(maxsize=4096)
def words_of(text: str) -> tuple[str, ...]:
    """Split a text into plain lower-case words: at blanks, signs, digits and humps, without accents."""
    plain = unicodedata.normalize("NFKD", text.replace("ß", "ss"))
    plain = "".join(character for character in plain if not unicodedata.combining(character))
    plain = re.sub(r"(?i)\bh2o\b", "water", plain)
    humped = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", plain)
    return tuple(word.casefold() for word in re.findall(r"[^\W\d_]+", humped))


@lru_cache(maxsize=4096)
def kinds_in(text: str) -> tuple[str, ...]:
    """Find the kinds of utility that a text names, each once, in the order of the text.

    Phrases go before words, and a word that only qualifies the next one decides for both: "storm water" is no water.
    """
    words = words_of(text)
    joined = _by_word().get("".join(words))
    if joined is not None:
        return (joined,)
    found = _scan(words)
    if not found:
        telling = [word for word in words if word not in NEUTRAL_WORDS]
        code = telling[0] if len(telling) == 1 else words[0] if len(words) == 1 else ""
        found = [kind for kind in (_by_code().get(code),) if kind is not None]
    return tuple(dict.fromkeys(found))


_QUALIFIED: Final = frozenset({"water", "sewer", "storm"})
_QUALIFIERS: Final = frozenset({"storm", "sewer", "reclaimed", "heating", "fire water"})


def _scan(words: tuple[str, ...]) -> list[str]:
    found: list[str] = []
    position, last = 0, -2
    while position < len(words):
        kind, length = _at(words, position=position)
        if kind is not None:
            qualified = last == position - 1 and found and found[-1] in _QUALIFIERS and kind in _QUALIFIED
            if not qualified:
                found.append(kind)
            last = position + length - 1
        position += length
    return found


def _at(words: tuple[str, ...], *, position: int) -> tuple[str | None, int]:
    """Give the kind that the words name from a position on, and how many of them it takes."""
    for length in (3, 2):
        kind = _by_phrase().get(words[position : position + length])
        if kind is not None:
            return kind, length
    return _by_word().get(words[position]), 1


@lru_cache(maxsize=1)
def _by_word() -> dict[str, str]:
    return {word: kind for kind, words in _WORDS.items() for word in words.split()}


@lru_cache(maxsize=1)
def _by_phrase() -> dict[tuple[str, ...], str]:
    return {tuple(phrase.split()): kind for kind, phrases in _PHRASES.items() for phrase in phrases.split("|")}


@lru_cache(maxsize=1)
def _by_code() -> dict[str, str]:
    return {code: kind for kind, codes in _CODES.items() for code in codes.split()}
