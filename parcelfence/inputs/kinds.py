"""The kind of a utility, recognised from words and colours in any likely column.

What is not recognised is ``unknown`` and counts as the strictest kind.  The order of trust: what the person
gave; a column named for the kind; a published type code; a short description; a colour under a named scheme; the
owner; last of all the name of the file.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Final

from parcelfence.errors import Fault, InputError, near_matches
from parcelfence.inputs.colours import APWA_COLOURS, colour_name, kind_of_colour
from parcelfence.inputs.words import (
    DOUBTFUL_CODES,
    NEUTRAL_WORDS,
    VERMONT_TYPE_CODES,
    kinds_in,
    word_set,
    words_of,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

__all__ = ["KINDS", "Kind", "recognise"]

KINDS: Final = tuple(APWA_COLOURS)
"""All kinds of utility that parcelfence speaks of."""

_KIND_COLUMNS: Final = (
    "utility",
    "util_type",
    "utility_type",
    "utiltype",
    "util",
    "utility_kind",
    "kind",
    "facility",
    "facility_type",
    "commodity",
    "system",
    "system_type",
    "systemtype",
    "theme",
    "thema",
    "network",
    "network_type",
    "service",
    "service_type",
    "type",
    "line_type",
    "feature_type",
    "featuretype",
    "subtype",
    "class",
    "category",
    "layer",
    "code",
    "feature_code",
    "medium",
    "sparte",
    "art",
    "soort",
    "nature",
    "reseau",
    "tipo",
    "asset_type",
)
_TEXT_COLUMNS: Final = (
    "description",
    "desc",
    "descriptio",
    "descriptor",
    "name",
    "label",
    "comment",
    "comments",
    "note",
    "notes",
)
_COLOUR_COLUMNS: Final = (
    "colour", "color", "apwa", "apwa_color", "apwa_colour", "mark_color", "mark_colour", "paint", "paint_color",
    "kleur", "farbe", "couleur",
)  # fmt: skip
_OWNER_COLUMNS: Final = ("owner", "member", "company", "operator", "beheerder", "netbeheerder")
_LISTED_COLUMNS: Final = frozenset({*_KIND_COLUMNS, *_TEXT_COLUMNS, *_COLOUR_COLUMNS, *_OWNER_COLUMNS})
_MATERIAL_COLUMNS: Final = ("material", "mat", "pipe_material", "materiaal", "werkstoff", "materiau")
_STREET_WORDS: Final = word_set("street road lane avenue ave drive court way place rue strasse straat weg laan calle")
_LONGEST_TEXT: Final = 6
"""Words up to which a free text is read for a kind; longer ones tell stories about neighbours too."""
_NO_ANSWER: Final = frozenset({
    "unknown",
    "unk",
    "none",
    "na",
    "n",
    "a",
    "other",
    "misc",
    "various",
    "tbd",
    "unidentified",
    "onbekend",
})
_PLASTIC_OR_CLAY: Final = word_set(
    "pvc hdpe pe pp abs upvc cpvc mdpe lldpe vcp clay polyethylene polypropylene plastic kunststof kunststoff gres "
    "steinzeug"
)
_WITHOUT_TRACER: Final = frozenset({"sewer", "storm"})
_CHAIN_LENGTH: Final = 3


@dataclass(frozen=True, kw_only=True)
class Kind:
    """What a utility is.

    Parameters
    ----------
    name : str
        One of :data:`KINDS`.
    apwa_color : str
        Its colour by the APWA uniform colour code; empty for an unknown kind.
    metallic : bool
        Whether a current can be coupled into it. False only for sewers and storm drains of stated plastic or clay: gas,
        water and cable of plastic are laid with a tracer wire or a metal shield, and what is not known may be metal.
    raw : str
        The words or the colour from which it was read.
    basis : str
        Where they stood: ``"given"``, ``"column utility"``, ``"file name"``, or empty.
    note : str
        What a person should know about the recognition; empty if nothing.
    """

    name: str
    apwa_color: str
    metallic: bool = True
    raw: str = ""
    basis: str = ""
    note: str = ""


def recognise(
    attributes: Mapping[str, Any],
    *,
    scheme: str = "APWA",
    kind: str | None = None,
    field: str | None = None,
    file_name: str = "",
) -> Kind:
    """Recognise the kind of a utility.

    Parameters
    ----------
    attributes : mapping
        Attributes of the mark.
    scheme : str
        Colour scheme, see :data:`parcelfence.inputs.colours.SCHEMES`.
    kind : str, optional
        Kind of all marks of the file, whatever the attributes say; any word that is understood.
    field : str, optional
        The one column to read.
    file_name : str
        Name of the file, read when nothing else tells.

    Returns
    -------
    Kind
        ``unknown`` where nothing tells, or where a text names several kinds of different colours.

    Raises
    ------
    InputError
        If `kind` is not understood.
    SettingsError
        If there is no such colour scheme.
    """
    if kind is not None:
        return _with_material(_given(kind, scheme=scheme), attributes)
    columns = {str(name).casefold(): value for name, value in attributes.items()}
    return _with_material(_recognised(columns, scheme=scheme, field=field, file_name=file_name), attributes)


def _recognised(columns: Mapping[str, Any], *, scheme: str, field: str | None, file_name: str) -> Kind:
    texts = _candidates(columns, field=field)
    first: Kind | None = None
    several: Kind | None = None
    for basis, text in texts:
        found = _of_text(text, basis=basis, scheme=scheme)
        if found is None:
            continue
        if found.name == "unknown":
            several = several or found
        elif first is None:
            first = found
    if first is None and several is None and field is None:
        first = _of_file_name(file_name)
    if first is None:
        return several or replace(_kind("unknown", raw=_telling_raw(texts)), note=_unknown_note(texts))
    return _settled_with_colour(first, columns, scheme=scheme)


def _given(kind: str, *, scheme: str) -> Kind:
    if kind.strip().casefold() in KINDS:
        return _kind(kind.strip().casefold(), raw=kind, basis="given")
    found = _of_text(kind, basis="given", scheme=scheme)
    if found is None or found.name == "unknown":
        raise InputError(
            Fault(
                where="kind",
                found=f"{kind!r} is no kind of utility that is understood",
                remedy=near_matches(kind, KINDS, most=len(KINDS)),
            )
        )
    return found


def _of_text(text: str, *, basis: str, scheme: str) -> Kind | None:
    """Read one text; None if it tells nothing."""
    if basis.startswith("colour"):
        name = kind_of_colour(text, scheme=scheme)
        return _kind(name, raw=text, basis=basis) if name != "unknown" else None
    words = words_of(text)
    if not words or (words[0] in {"no", "not"}) or all(word in _NO_ANSWER for word in words):
        return None
    found = kinds_in(text) or _kinds_in_chain(text)
    if not found:
        name = kind_of_colour(text, scheme=scheme) if colour_name(text) else "unknown"
        return _kind(name, raw=text, basis=f"colour in {basis}") if name != "unknown" else None
    if len({APWA_COLOURS[name] for name in found}) == 1:
        doubt = next((DOUBTFUL_CODES[word] for word in words if word in DOUBTFUL_CODES), "")
        return replace(_kind(found[0], raw=text, basis=basis), note=doubt)
    note = f"{text!r} names several kinds ({', '.join(found)}), so it is treated as the strictest"
    return replace(_kind("unknown", raw=text, basis=basis), note=note)


def _kinds_in_chain(text: str) -> tuple[str, ...]:
    """Read a field mark that chains company / facility / construction / material (CGA Best Practices, appendix B)."""
    parts = text.split("/")
    return kinds_in(parts[1]) if len(parts) >= _CHAIN_LENGTH else ()


def _of_file_name(file_name: str) -> Kind | None:
    stem = file_name.rsplit(".", 1)[0]
    found = kinds_in(stem) if len(stem) > 2 else ()  # noqa: PLR2004  (no codes)
    if len(found) != 1:
        return None
    note = "its kind is known from the name of the file only"
    return replace(_kind(found[0], raw=file_name, basis="file name"), note=note)


def _settled_with_colour(kind: Kind, columns: Mapping[str, Any], *, scheme: str) -> Kind:
    """Set the colour beside the words: purple turns a bare W to reclaimed water; any other clash is told."""
    colours = [text for name in _COLOUR_COLUMNS if isinstance(text := columns.get(name), str)]
    spoken = kind_of_colour(colours[0], scheme=scheme) if colours else "unknown"
    if spoken in {"unknown", "proposed", "survey"} or APWA_COLOURS[spoken] == kind.apwa_color:
        return kind
    if kind.name == "water" and spoken == "reclaimed":
        note = f"the colour {colours[0]} makes {kind.raw!r} reclaimed water"
        return replace(_kind("reclaimed", raw=kind.raw, basis=kind.basis), note=note)
    return replace(kind, note=f"the words say {kind.name}, the colour {colours[0]} says {spoken}: the words were taken")


def _with_material(kind: Kind, attributes: Mapping[str, Any]) -> Kind:
    if kind.name not in _WITHOUT_TRACER:
        return kind
    for name, value in attributes.items():
        if name.casefold() in _MATERIAL_COLUMNS and isinstance(value, str):
            words = words_of(value)
            if words and all(word in _PLASTIC_OR_CLAY for word in words):
                return replace(kind, metallic=False)
    return kind


def _kind(name: str, *, raw: str = "", basis: str = "") -> Kind:
    return Kind(name=name, apwa_color=APWA_COLOURS[name], raw=raw, basis=basis)


def _telling_raw(texts: list[tuple[str, str]]) -> str:
    return next((text for _, text in texts if text), "")


def _unknown_note(texts: list[tuple[str, str]]) -> str:
    raw = _telling_raw(texts)
    return f"{raw!r} is not understood as a kind of utility" if raw else "nothing tells its kind"


def _candidates(columns: Mapping[str, Any], *, field: str | None) -> list[tuple[str, str]]:
    """List what is to be read, in the order of trust: where it stands, and the text."""
    if field is not None:
        return [(f"column {field}", str(columns.get(field.casefold()) or ""))]
    return list(_likely(columns))


def _likely(columns: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    texts = {
        name.replace(" ", "_").replace("-", "_"): value for name, value in columns.items() if isinstance(value, str)
    }
    yield from _named(texts, _KIND_COLUMNS)
    code = columns.get("type_code")
    if "system" in columns and isinstance(code, int | float) and int(code) in VERMONT_TYPE_CODES:
        yield "column type_code", VERMONT_TYPE_CODES[int(code)]
    yield from (found for found in _named(texts, _TEXT_COLUMNS) if _tells_of_one_thing(found[1]))
    yield from ((f"colour in {basis}", text) for basis, text in _named(texts, _COLOUR_COLUMNS))
    yield from _named(texts, _OWNER_COLUMNS)
    others = [name for name in texts if name not in _LISTED_COLUMNS and _says_only_the_kind(texts[name])]
    yield from _named(texts, others)


def _named(texts: Mapping[str, str], names: Iterable[str]) -> Iterator[tuple[str, str]]:
    return ((f"column {name}", texts[name]) for name in names if name in texts)


def _tells_of_one_thing(text: str) -> bool:
    words = words_of(text)
    return len(words) <= _LONGEST_TEXT and _STREET_WORDS.isdisjoint(words)


@lru_cache(maxsize=4096)
def _says_only_the_kind(text: str) -> bool:
    """Tell whether every word of a text from an unlikely column names the kind or says nothing: no street names."""
    words = words_of(text)
    return bool(words) and all(
        len(word) > 2 and (word in NEUTRAL_WORDS or kinds_in(word))  # noqa: PLR2004  (no codes there)
        for word in words
    )
