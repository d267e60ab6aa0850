"""Text of unknown origin, made fit to be shown: nothing in it that a terminal or a reader's eye would obey.

Identifiers, attributes, names of layers and files come from strangers, and one of them may hold the order to clear the
screen, to ring the bell, or to turn round the words that follow it.
"""

from __future__ import annotations

import math
import re
from typing import Final

__all__ = ["begin_sentence", "on_one_line", "shortened", "visible"]

_CONTROLS: Final = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]")
"""Characters that XML 1.0 does not allow (section 2.2) or discourages, lone surrogates among them."""
_UNSEEN: Final = re.compile(r"[\u200b\u200e\u200f\u2028-\u202e\u2060-\u206f\ufeff\U000e0000-\U000e007f]")
"""What changes its surroundings unseen: direction controls (Unicode UAX 9), separators, tags; letters' joiners stay."""
_LINE_ENDS: Final = re.compile(r"\s*[\r\n\t]\s*")
_REPLACEMENT: Final = "\ufffd"


def visible(value: object) -> str:
    """Turn a value into text without control characters; missing values become empty text."""
    if value is None or (isinstance(value, float) and math.isnan(value)):
        return ""
    return _UNSEEN.sub("", _CONTROLS.sub(_REPLACEMENT, str(value)))


def on_one_line(value: object) -> str:
    """Turn a value into visible text without line ends and tabs, by which it could pass for more than one line."""
    return _LINE_ENDS.sub(" ", visible(value))


def begin_sentence(text: str) -> str:
    """Begin a text with a capital letter; the rest, which may hold names, stays as it is."""
    return text[:1].upper() + text[1:]


def shortened(text: str, *, most: int) -> str:
    """Cut the middle out of a text that is longer than `most` characters, and say how much was cut."""
    if len(text) <= most:
        return text
    kept = most // 2
    return f"{text[:kept]} [... {len(text) - 2 * kept:,} characters left out ...] {text[-kept:]}"
