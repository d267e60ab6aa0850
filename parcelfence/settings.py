"""All settings, frozen and self-checking: what a plan is made by.

A person writes ``reach = "8 ft"``; inside it is ``reach_m = 2.4384``.  Every setting knows its unit, its limits and
why it has its default.  Values that depend on the reach follow it until they are given.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final, Literal, Self

from pydantic import ConfigDict, Field, ValidationError, model_validator

from parcelfence.animal import OWN, Animal, greatest_reach
from parcelfence.errors import Fault, SettingsError, near_matches
from parcelfence.setting_values import (
    COMPASS,
    Area,
    Compass,
    IsoDate,
    Length,
    LengthOrNone,
    Number,
    NumberOrNone,
    PartNumber,
    WithUnits,
)
from parcelfence.units import FOOT_M, parse_length_m, units_of

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["COMPASS", "Settings", "full_name", "short_name"]

_FOLLOWS_REACH_M: Final = 0.3
_IN_FEET: Final = {
    "station_format": "us",
    "station_interval_m": 25 * FOOT_M,
    "flag_spacing_min_m": 8 * FOOT_M,
    "flag_spacing_max_m": 10 * FOOT_M,
}
"""Defaults of a person who thinks in feet: round numbers, so that nobody reads of flags 9.8 ft apart."""

_EIGHTH_DEG: Final = 360.0 / len(COMPASS)


class Settings(WithUnits):
    """Everything that can be chosen about a plan.

    Field names carry their unit.  Where a person writes settings (project file, command line), the unit suffix
    may be left out and lengths may carry a unit of their own: see :meth:`from_words`.

    >>> round(Settings.from_words({"reach": "8 ft"}).replaced(slack_percent=3.0).lot_line_setback_m, 4)
    2.7384
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    # signal
    reach_m: Length = Field(
        default=2.0, ge=0.1, le=30, description="Horizontal reach of the signal each side of a long straight wire"
    )
    reach_seen_from: Literal["straight", "inside", "outside"] = Field(
        default="straight",
        description="Where the reach is meant: beside a long straight wire, or as walked from inside or outside",
    )
    core_ratio: float = Field(
        default=0.6, gt=0, lt=1, description="Core zone as a share of the reach of a straight wire"
    )
    receiver_height_m: LengthOrNone = Field(default=0.3, le=3, description="Height of the receiver above the ground")
    level_uncertainty_percent: float = Field(
        default=10.0, ge=0, le=100, description="How exactly the reach is set by walking, of the reach (from memory)"
    )
    height_uncertainty_m: LengthOrNone = Field(
        default=0.1, le=1, description="How far receiver and wire may hang and lie off their heights (from memory)"
    )
    soil_resistivity_ohm_m: Number = Field(
        default=100.0,
        ge=1,
        le=100_000,
        description="Soil: wet clay 10 to 50, loam 100, dry sand 1000 (from memory)",
    )
    frequency_hz: Number = Field(
        default=10_000.0, ge=100, le=1_000_000, description="Signal frequency (from memory: 5 to 20 kHz)"
    )

    # clearances
    lot_line_setback_m: Length = Field(
        default=0.0, validate_default=False, le=100, description="Wire to lot line; reach + 0.3 m"
    )
    building_clearance_m: Length = Field(
        default=0.0, validate_default=False, le=100, description="Wire to building; reach + 0.3 m"
    )
    utility_separation_m: Length = Field(
        default=1.5, ge=0.01, le=50, description="Wire beside a buried utility (common practice 3 to 5 ft)"
    )
    crossing_tolerance_deg: float = Field(default=10.0, gt=0, le=45, description="How far off square a crossing may be")
    keep_out_clearance_m: LengthOrNone = Field(default=0.3, le=50, description="Wire to the edge of a keep-out")
    water_clearance_m: LengthOrNone = Field(default=1.0, le=100, description="Wire to open water")
    road_clearance_m: LengthOrNone = Field(default=0.5, le=100, description="Wire to the edge of a road")
    passage_width_m: Length = Field(
        default=1.2, ge=0.1, le=20, description="Free way between two signal zones (from memory)"
    )
    transmitter_metal_clearance_m: Length = Field(
        default=0.9, ge=0.01, le=20, description="Transmitter to large metal (common practice 3 ft)"
    )

    # what is contained
    layout: Literal["whole-lot", "back-yard", "front-excluded", "open-side"] = Field(
        default="whole-lot", description="Ground that is contained"
    )
    front: Compass = Field(default="", description="Front of the house: a point of the compass, or degrees from north")
    part: PartNumber = Field(
        default=0, ge=0, le=1000, description="Part of a lot in several parts: 1 or largest, 2..., all; 0 chooses"
    )
    gap_width_m: Length = Field(
        default=0.2, ge=0.01, le=50, description="An animal walks through a gap wider than this (from memory)"
    )

    # lines that stand for areas
    drive_width_m: Length = Field(
        default=3.0, le=50, description="Width of a drive that is drawn as a line (from memory)"
    )
    watercourse_width_m: Length = Field(
        default=1.0, le=50, description="Width of a creek or ditch that is drawn as a line"
    )

    # shape
    bend_radius_m: Length = Field(
        default=1.0, ge=0.05, le=20, description="Least radius of any curve: no sharp corners"
    )
    return_run_spacing_m: Length = Field(
        default=3.0, ge=0.1, le=50, description="Distance of the return run along an open side"
    )

    # wire and its laying
    wire_gauge_awg: int = Field(default=18, ge=10, le=26, description="Gauge of the conductor (AWG)")
    wire_temperature_c: float = Field(default=20.0, ge=-40, le=90, description="Temperature of the conductor")
    wire_temperature_low_c: float = Field(
        default=0.0, ge=-40, le=90, description="Coldest conductor that its resistance is stated for"
    )
    wire_temperature_high_c: float = Field(
        default=40.0, ge=-40, le=90, description="Warmest conductor that its resistance is stated for"
    )
    resistance_tolerance_percent: float = Field(
        default=5.0, ge=0, le=50, description="How far wire is off its nominal resistance (from memory)"
    )
    insulation_thickness_m: LengthOrNone = Field(default=0.0008, le=0.02, description="Thickness of the wire's jacket")
    twists_per_foot: float = Field(
        default=11.0, gt=0, le=60, description="Twists of the lead-in (common practice 10 to 12)"
    )
    burial_depth_m: LengthOrNone = Field(
        default=0.05, le=2, description="Depth of the wire below the ground (common practice 1 to 3 in)"
    )
    slack_percent: float = Field(default=2.0, ge=0, le=25, description="Extra wire so that it is not laid tight")
    spare_percent: float = Field(default=10.0, ge=0, le=100, description="Margin on bought material")
    spool_length_m: Length = Field(
        default=152.4, ge=1, le=10_000, description="Length of a spool (common practice 500 ft)"
    )

    # flags and stations
    flag_spacing_max_m: Length = Field(
        default=3.0, ge=0.3, le=50, description="Flags at most this far apart (common practice 10 ft)"
    )
    flag_spacing_min_m: Length = Field(
        default=2.4, ge=0.3, le=50, description="Flags at least this far apart (common practice 8 ft)"
    )
    station_interval_m: Length = Field(
        default=10.0, ge=0.1, le=1_000, description="Distance of the regular stations along the wire"
    )
    station_format: Literal["metric", "us"] = Field(
        default="metric", description="0+012.3 by kilometres, or 0+40 by 100 ft; follows the units"
    )

    # marks
    colour_scheme: str = Field(default="APWA", description="Scheme by which mark colours are read")
    tolerance_zone_m: Length = Field(
        default=0.61, ge=0.01, le=10, description="Half-width of the tolerance zone (24 in in many codes)"
    )
    mark_join_gap_m: Length = Field(
        default=30.0, ge=0.01, le=500, description="Point marks farther apart are not joined to a line"
    )
    mark_age_days_max: int = Field(
        default=21, le=36_500, ge=1, description="Marks older than this are stale; local law rules"
    )
    ticket_date: IsoDate = Field(
        default="", description="Date of the locate ticket (ISO 8601): the worksheet says until when its marks hold"
    )
    as_of: IsoDate = Field(
        default="", description="Date (ISO 8601) to which the age of marks is reckoned; empty: not reckoned"
    )
    unstated_accuracy_m: LengthOrNone = Field(
        default=0.5,
        le=100,
        description="Accuracy taken for a file that states none (from memory: drawn maps)",
    )
    accuracy_limit_m: Length = Field(
        default=1.0, ge=0.001, le=100, description="Datum operations worse than this are a conflict of their own"
    )

    # transmitter rating; none is assumed
    transmitter_volts: Number | None = Field(default=None, le=1_000, description="Greatest output voltage (rms)")
    transmitter_amperes: Number | None = Field(
        default=None, le=100, description="Current that is needed in the wire (rms)"
    )
    transmitter_max_ohms: Number | None = Field(
        default=None, le=100_000, description="Greatest loop resistance that it drives"
    )
    transmitter_max_wire_m: Length | None = Field(
        default=None, le=100_000, description="Greatest wire length that it drives"
    )
    transmitter_max_area_m2: Area | None = Field(
        default=None, le=100_000_000, description="Greatest enclosed area that it is rated for"
    )

    # animal
    animal_speed_m_per_s: Number = Field(
        default=4.0, ge=0.1, le=30, description="Speed at which the animal meets the zone (from memory)"
    )
    receiver_delay_s: NumberOrNone = Field(
        default=0.2, le=10, description="Time that the receiver takes to react (from memory)"
    )
    animals: tuple[Animal, ...] = Field(
        default=(),
        max_length=20,
        description="Animals, each with what differs for it; the level of the transmitter is common",
    )

    # presentation
    units: Literal["metric", "us"] = Field(
        default="metric", description="Units that people read; follows the units in which the reach is written"
    )
    ground_elevation_m: float | None = Field(
        default=None, ge=-500, le=9000, description="Gives ground instead of grid lengths"
    )
    allow_ballpark: bool = Field(default=False, description="Accept a datum operation of unknown accuracy")

    if not TYPE_CHECKING:  # a type checker sees the fields

        def __init__(self, **given: Any) -> None:
            try:
                super().__init__(**given)
            except ValidationError as error:
                details = [detail for detail in error.errors() if not detail["loc"] or detail["loc"][0] in given]
                raise SettingsError(_as_fault(detail) for detail in details or error.errors()) from None

    @model_validator(mode="before")
    @classmethod
    def _follow_the_reach(cls, given: Any) -> Any:
        """Give what follows the reach or the units its value."""
        if not isinstance(given, dict):
            return given
        try:
            if "reach_m" not in given and (greatest := greatest_reach(given.get("animals"))) is not None:
                given = {**given, "reach_m": greatest}
            reach = given.get("reach_m", 2.0)
            reach_m = parse_length_m(reach)
        except SettingsError:
            return given  # the field's own check reports it
        units = given.get("units", units_of(reach))
        return _followers(reach_m, units=units) | given if reach_m > 0 else given

    @model_validator(mode="after")
    def _hang_together(self) -> Self:
        if self.flag_spacing_min_m > self.flag_spacing_max_m:
            least, most = self.flag_spacing_min_m, self.flag_spacing_max_m
            msg = f"flag_spacing_min {least:g} m must not exceed flag_spacing_max {most:g} m"
            raise ValueError(msg)
        names = [animal.name.casefold() for animal in self.animals]
        if len(set(names)) < len(names):
            msg = "two animals have the same name"
            raise ValueError(msg)
        reaches_m = [self.of_animal(animal).reach_m for animal in self.animals]
        if reaches_m and not math.isclose(max(reaches_m), self.reach_m, abs_tol=1e-6):
            msg = f"reach {self.reach_m:g} m must be the greatest reach of the animals, {max(reaches_m):g} m"
            raise ValueError(msg)
        return self

    def of_animal(self, animal: Animal) -> Settings:
        """Give the settings as one animal meets them: its own reach, receiver and speed on the same wire."""
        own = {name: value for name in OWN if (value := getattr(animal, name)) is not None}
        return self.model_copy(update={**own, "animals": ()})

    @property
    def height_above_wire_m(self) -> float:
        """Height of the receiver above the wire: the wire lies below the ground, the receiver hangs above it."""
        return self.receiver_height_m + self.burial_depth_m

    @classmethod
    def from_words(cls, given: Mapping[str, Any], *, where: str = "settings") -> Settings:
        """Make settings from what a person wrote.

        Parameters
        ----------
        given : mapping
            Names with or without their unit suffix (``reach`` or ``reach_m``); lengths with or without a unit.
        where : str
            What to call the source in messages.

        Raises
        ------
        SettingsError
            With every fault of the mapping at once.
        """
        names = {short_name(name): name for name in cls.model_fields} | {name: name for name in cls.model_fields}
        faults = [
            Fault(where=where, found=f"there is no setting {name!r}", remedy=near_matches(name, names))
            for name in given
            if _plain(name) not in names
        ]
        try:
            settings = cls(**{names[_plain(name)]: value for name, value in given.items() if _plain(name) in names})
        except SettingsError as error:
            faults += [replace(fault, where=where + fault.where.removeprefix(_HERE)) for fault in error.faults]
        if faults:
            raise SettingsError(faults)
        return settings

    @property
    def front_bearing_deg(self) -> float:
        """Bearing of the front from north, clockwise; 0 where none is stated."""
        if self.front in COMPASS:
            return COMPASS.index(self.front) * _EIGHTH_DEG
        return float(self.front or 0.0)

    def replaced(self, **changes: Any) -> Settings:
        """Give a copy with some settings changed; what follows the reach follows it again unless it was given."""
        given = {name: getattr(self, name) for name in self.given_names()}
        if self.animals and "reach_m" in changes:
            reach_m = parse_length_m(changes["reach_m"])
            changes = {"animals": [animal.at_level(reach_m / self.reach_m) for animal in self.animals]} | changes
        return Settings.from_words({"units": self.units} | given | changes)

    def given_names(self) -> set[str]:
        """Names of the settings that were given; those that follow others, and follow them still, are left out."""
        follows = _followers(self.reach_m, units=self.units)
        return {name for name in self.model_fields_set if name not in follows or getattr(self, name) != follows[name]}


def _followers(reach_m: float, *, units: str) -> dict[str, Any]:
    clearance_m = reach_m + _FOLLOWS_REACH_M
    follow = {"lot_line_setback_m": clearance_m, "building_clearance_m": clearance_m, "units": units}
    return follow | (_IN_FEET if units == "us" else {"station_format": "metric"})


_HERE: Final = "settings"
_SUFFIXES: Final = ("_ohm_m", "_m", "_m2", "_deg", "_hz", "_awg", "_c", "_s", "_percent")


def _plain(name: str) -> str:
    return name.strip().replace("-", "_")


def short_name(name: str) -> str:
    """Name a setting as a person writes it, without its unit suffix."""
    for suffix in _SUFFIXES:
        if name.endswith(suffix) and not name.endswith("_per_s"):
            return name.removesuffix(suffix)
    return name


def full_name(name: str) -> str:
    """Give the full name of a setting as a person wrote it; a name that is none comes back as it is."""
    plain = _plain(name)
    return next((full for full in Settings.model_fields if plain in {full, short_name(full)}), plain)


_LIMITS: Final = {
    "greater_than": ("gt", "more than"),
    "greater_than_equal": ("ge", "at least"),
    "less_than": ("lt", "less than"),
    "less_than_equal": ("le", "at most"),
}


def _limit_in_words(detail: Any, *, name: str) -> str:
    """Say the least or the most of a setting with its unit; empty if something else is wrong."""
    if detail["type"] not in _LIMITS:
        return ""
    key, words = _LIMITS[detail["type"]]
    unit = name.removeprefix(short_name(name)).removeprefix("_").replace("percent", "%")
    return f"it must be {words} {detail['ctx'][key]:,g} {unit}".rstrip()


def _as_fault(detail: Any) -> Fault:
    path = ".".join(str(part) for part in detail["loc"])
    if detail["type"] == "extra_forbidden":
        name, inner = str(detail["loc"][-1]), len(detail["loc"]) > 1
        remedy = near_matches(name, Animal.names() if inner else Settings.model_fields)
        where, found = (
            (f"{_HERE}: {path}", f"there is no {name!r}") if inner else (_HERE, f"there is no setting {name!r}")
        )
        return Fault(where=where, found=found, remedy=remedy)
    reason = _limit_in_words(detail, name=path) or detail["msg"].removeprefix("Value error, ")
    if not path:
        return Fault(where=_HERE, found="the settings do not hang together", must=reason)
    return Fault(where=f"{_HERE}: {short_name(path)}", found=f"found {detail['input']!r}", must=reason)
