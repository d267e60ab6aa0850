"""Text of unknown origin, made harmless for the place where it is written.

Locate marks and parcels come from strangers.  Whatever they hold must show as text: never as markup, as a
spreadsheet formula or as a script.
"""

from __future__ import annotations

import html
import json
import re
from typing import Any, Final

from parcelfence.text import visible

__all__ = ["csv_text", "html_text", "script_json", "xml_text"]

_FORMULA_STARTS: Final = frozenset("=+-@\t\r\n\uff1d\uff0b\uff0d\uff20|%")
_PLAIN_NUMBER: Final = re.compile(r"[-+]?\d+(?:[.,]\d+)?")
_TEMPLATE_BLOCK: Final = re.compile(r"\{(?=[{%#])")
"""A brace that begins a template block; in JSON it stands inside strings only, where it may be written by number."""


def html_text(value: object) -> str:
    """Escape a value for HTML, inside elements and inside quoted attributes alike.

    Braces are escaped too: folium runs rendered text through its template engine a second time, where braces would
    be an order to compute.
    """
    return html.escape(visible(value), quote=True).replace("{", "&#123;").replace("}", "&#125;")


def xml_text(value: object) -> str:
    """Escape a value for XML 1.0, inside elements and inside quoted attributes alike."""
    return html.escape(visible(value), quote=True).replace("&#x27;", "&apos;")


def csv_text(value: object) -> str:
    """Make a text that no spreadsheet takes for a formula.

    A text that begins like a formula gets an apostrophe in front (OWASP, CSV Injection); plain numbers stay as
    they are.  Quoting of commas and line ends is left to the csv module.
    """
    text = visible(value)
    begins_like_one = text[:1] in _FORMULA_STARTS or text.lstrip()[:1] in _FORMULA_STARTS
    if text and begins_like_one and not _PLAIN_NUMBER.fullmatch(text.strip()):
        return f"'{text}"
    return text


def script_json(value: Any) -> str:
    """Write a value as JSON that can stand inside an HTML script element.

    No ``<`` is left in it, so that no text can close the element, no line separator that JavaScript would take for
    the end of a line, and nothing that opens a block of the template engine under folium.
    """
    text = json.dumps(value, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    for character in "<>&\u2028\u2029":
        text = text.replace(character, f"\\u{ord(character):04x}")
    return _TEMPLATE_BLOCK.sub(r"\\u007b", text)
