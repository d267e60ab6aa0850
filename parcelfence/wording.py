"""How the program speaks: lengths, places, names and lists in the person's units."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Protocol

from parcelfence.units import UnitSystem, station_label, unit_system

if TYPE_CHECKING:
    from parcelfence.settings import Settings

__all__ = ["Wording", "feature_name", "listing", "name_once", "run_name", "utility_name"]

_PARTS: Final = {"loop": "loop", "inner_loop": "inner loop", "return_run": "return run", "lead_in": "lead-in"}
_LINES: Final = {"unknown": "utility of unknown kind", "reclaimed": "irrigation or reclaimed water line"}
"""Kinds of utilities that are not said by their own name."""
_SHORT_M: Final = 1.0
"""A shorter stretch is named by one station: a crew works to the nearest step."""


class NamedRun(Protocol):
    """A run of wire, as far as it is spoken of."""

    @property
    def part(self) -> str: ...
    @property
    def loop_id(self) -> str: ...


class NamedStretch(Protocol):
    """A stretch of a run, as far as it is spoken of."""

    @property
    def run(self) -> NamedRun: ...
    @property
    def start_m(self) -> float: ...
    @property
    def end_m(self) -> float: ...
    @property
    def station_m(self) -> float: ...
    @property
    def length_m(self) -> float: ...


class NamedFeature(Protocol):
    """A feature, as far as it is spoken of."""

    @property
    def id(self) -> str: ...
    @property
    def kind(self) -> str: ...


@dataclass(frozen=True)
class Wording:
    """Writes quantities for a person.

    Parameters
    ----------
    settings : Settings
        Their ``units`` and ``station_format`` are used.
    several_runs : bool
        Whether a station must name its run to be found.
    """

    settings: Settings
    several_runs: bool = False

    @property
    def units(self) -> UnitSystem:
        """Unit system of the person."""
        return unit_system(self.settings.units)

    def length(self, value_m: float) -> str:
        """Write a length: centimetres or tenths of a foot."""
        return self.units.length(value_m, digits=2 if self.settings.units == "metric" else 1)

    def away(self, away_m: float | None) -> str:
        """Say how far away the nearest of some things is; nothing where it is not known."""
        return f"; the nearest lies {self.units.distance(away_m)} away" if away_m else ""

    def area(self, value_m2: float) -> str:
        """Write an area: small ones in square metres or square feet."""
        units = self.units
        if value_m2 < units.area_m2 / 10:
            return f"{value_m2 / units.length_m**2:,.1f} sq {units.length_unit}"
        return units.area(value_m2)

    def speed(self, value_m_per_s: float) -> str:
        """Write a speed."""
        return f"{value_m_per_s / self.units.length_m:.1f} {self.units.length_unit}/s"

    def station(self, station_m: float) -> str:
        """Write a chainage."""
        return station_label(station_m, style=self.settings.station_format)

    def at(self, run: NamedRun, *, station_m: float) -> str:
        """Say ``"at station 0+042.0"``, with the run where there are several."""
        return f"at station {self.station(station_m)}{self._of(run)}"

    def along(self, stretch: NamedStretch) -> str:
        """Say between which stations a stretch lies."""
        if stretch.length_m < _SHORT_M:
            return self.at(stretch.run, station_m=stretch.station_m)
        first, last = self.station(stretch.start_m), self.station(stretch.end_m)
        return f"between stations {first} and {last}{self._of(stretch.run)}"

    def _of(self, run: NamedRun) -> str:
        return f" of {run_name(run)}" if self.several_runs else ""


def run_name(run: NamedRun) -> str:
    """Name a run: ``"inner loop K1"``."""
    return f"{_PARTS[run.part]} {run.loop_id}"


def utility_name(utility: NamedFeature) -> str:
    """Name a utility: ``"gas line gas-1"``."""
    kind = _LINES.get(utility.kind) or f"{utility.kind.replace('_', ' ')} line"
    return f"{kind} {utility.id}"


def feature_name(feature: NamedFeature, *, kind: str = "") -> str:
    """Name a feature by its kind (or the one that is given) and identifier, once where they are the same word."""
    return name_once(kind or feature.kind.replace("_", " "), feature.id)


def name_once(noun: str, identifier: str) -> str:
    """Put a noun before an identifier that does not begin with it: ``"parcel 31-07"``."""
    said = identifier.replace("_", " ").casefold().startswith(noun.casefold())
    return noun + identifier[len(noun) :] if said else f"{noun} {identifier}"


def listing(words: list[str], *, most: int = 4) -> str:
    """Write a list with at most so many members."""
    shown = ", ".join(words[:most])
    return shown if len(words) <= most else f"{shown} and {len(words) - most} more"
