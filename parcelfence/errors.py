"""Everything that parcelfence raises, in one hierarchy.

Every class has two parents: :class:`ParcelFenceError`, so that one ``except`` catches all, and the built-in
that a Python reader expects.  A message is built from a :class:`Fault`, which cannot be made without saying what
was found and what to do about it.  Safety findings in a *design* are conflict rows, never exceptions.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from parcelfence.text import on_one_line, shortened, visible

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

__all__ = [
    "CrsError",
    "Fault",
    "InputError",
    "MissingExtraError",
    "NoLoopError",
    "OutputError",
    "ParcelFenceError",
    "PluginError",
    "SelectionError",
    "SettingsError",
    "near_matches",
]

_MOST_SHOWN: Final = 20
_LONGEST_PART: Final = 600
"""Characters of one part of a message: the longest of our own have some 300, the rest is what a file holds."""
_LONGEST_NAME: Final = 160
_LONGEST_WORD: Final = 60
_LONGEST_MESSAGE: Final = 4_000
"""Two screens: who has to read more looks into the file."""


@dataclass(frozen=True, kw_only=True)
class Fault:
    """One thing that is wrong, said so that its reader can mend it.

    Parameters
    ----------
    where : str
        File, layer or setting in which it was found.
    feature : str
        Identifier or position of the feature; empty if the fault concerns all of `where`.
    found : str
        What is there.
    must : str
        What has to hold instead.
    remedy : str
        What to do about it.
    """

    where: str
    found: str
    must: str = ""
    remedy: str = ""
    feature: str = ""

    def __str__(self) -> str:
        where, feature = _shown(self.where, most=_LONGEST_NAME), _shown(self.feature, most=_LONGEST_NAME)
        place = f"{where}, feature {feature}" if feature else where
        said = [_shown(part, most=_LONGEST_PART).rstrip(".") for part in (self.found, self.must, self.remedy)]
        parts = [f"{place}: {said[0]}", *(part for part in said[1:] if part)]
        sentences = (part[0].upper() + part[1:] if index else part for index, part in enumerate(parts))
        return " ".join(sentence if sentence.endswith("?") else f"{sentence}." for sentence in sentences)


class ParcelFenceError(Exception):
    """Base of all errors raised on purpose by parcelfence.

    Its text is for a person; ``faults`` holds the same part by part.

    Examples
    --------
    >>> import parcelfence
    >>> try:
    ...     parcelfence.Settings.from_words({"reech": "8 ft"})
    ... except parcelfence.ParcelFenceError as error:
    ...     print(error.faults[0].found, "-", error.faults[0].remedy)
    there is no setting 'reech' - did you mean 'reach' or 'reach_m'?
    """

    def __init__(self, message: str | Fault | Iterable[Fault]) -> None:
        if isinstance(message, str):
            self.faults: tuple[Fault, ...] = ()
            text = visible(message)
        else:
            self.faults = (message,) if isinstance(message, Fault) else tuple(message)
            text = _listing(self.faults)
        super().__init__(shortened(text, most=_LONGEST_MESSAGE))


class SettingsError(ParcelFenceError, ValueError):
    """A setting or a project file that cannot be used."""


class InputError(ParcelFenceError, ValueError):
    """A file, layer, feature or field that cannot be used; carries every fault of the file, not just the first."""


class SelectionError(InputError):
    """No parcel, or not the parcel meant, answers to the selection."""


class CrsError(InputError):
    """A coordinate reference system that is missing, unusable, or reached only with an unknown accuracy."""


class NoLoopError(ParcelFenceError, ValueError):
    """The land leaves no room for any loop under the settings."""


class OutputError(ParcelFenceError, OSError):
    """The result could not be written; nothing that stood on disk was touched."""


class MissingExtraError(ParcelFenceError, ImportError):
    """An optional package is needed for what was asked."""

    @classmethod
    def of(cls, extra: str, *, package: str, purpose: str) -> MissingExtraError:
        """Say which extra to install, for what."""
        return cls(f"{purpose} needs the package {package}. Install it with: pip install 'parcelfence[{extra}]'.")


class PluginError(ParcelFenceError, RuntimeError):
    """A third party's rule, writer or command that cannot be used."""


def near_matches(word: str, known: Iterable[str], *, most: int = 5) -> str:
    """Spell out the likely meant words, or some of the known ones.

    Parameters
    ----------
    word : str
        What was given.
    known : iterable of str
        What would have been accepted.
    most : int
        How many words to name.

    Returns
    -------
    str
        A clause such as ``did you mean 'reach'?`` or ``known are: a, b, c (and 4 more)``.
    """
    import difflib  # needed only on the way to an error

    words = sorted({_shown(str(candidate), most=_LONGEST_WORD) for candidate in known})
    word = word[:_LONGEST_WORD]  # whoever compares longer ones waits for it
    lowered: dict[str, str] = {candidate.casefold(): candidate for candidate in words}
    near = difflib.get_close_matches(word.casefold(), lowered, n=most, cutoff=0.6)
    if near:
        return "did you mean " + " or ".join(repr(lowered[match]) for match in near) + "?"
    if not words:
        return "there are none"
    more = f" (and {len(words) - most} more)" if len(words) > most else ""
    return "known are: " + ", ".join(words[:most]) + more


def _shown(text: str, *, most: int) -> str:
    return shortened(on_one_line(text), most=most)


def _listing(faults: Sequence[Fault]) -> str:
    if len(faults) == 1:
        return str(faults[0])
    lines = [f"  {number}. {fault}" for number, fault in enumerate(faults[:_MOST_SHOWN], start=1)]
    if len(faults) > _MOST_SHOWN:
        lines.append(f"  ... and {len(faults) - _MOST_SHOWN} more of the kind")
    return "\n".join([f"{len(faults)} faults:", *lines])
