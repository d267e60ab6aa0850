"""Columns in which a file may tell the kind of a utility, in the order of trust."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, Any, Final

from parcelfence.inputs.words import NEUTRAL_WORDS, VERMONT_TYPE_CODES, kinds_in, word_set, words_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

__all__ = ["COLOUR_COLUMNS", "MATERIAL_COLUMNS", "candidates"]

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
COLOUR_COLUMNS: Final = (
    "colour", "color", "apwa", "apwa_color", "apwa_colour", "mark_color", "mark_colour", "paint", "paint_color",
    "kleur", "farbe", "couleur",
)  # fmt: skip
_OWNER_COLUMNS: Final = ("owner", "member", "company", "operator", "beheerder", "netbeheerder")
_LISTED_COLUMNS: Final = frozenset({*_KIND_COLUMNS, *_TEXT_COLUMNS, *COLOUR_COLUMNS, *_OWNER_COLUMNS})
MATERIAL_COLUMNS: Final = ("material", "mat", "pipe_material", "materiaal", "werkstoff", "materiau")
_STREET_WORDS: Final = word_set("street road lane avenue ave drive court way place rue strasse straat weg laan calle")
_LONGEST_TEXT: Final = 6
"""Words up to which a free text is read for a kind; longer ones tell stories about neighbours too."""


def candidates(columns: Mapping[str, Any], *, field: str | None) -> list[tuple[str, str]]:
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
    yield from ((f"colour in {basis}", text) for basis, text in _named(texts, COLOUR_COLUMNS))
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
