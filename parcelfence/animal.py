"""One animal of several: what differs for it.  The wire and the level of the transmitter are common to all."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from pydantic import AliasChoices, ConfigDict, Field

from parcelfence.setting_values import Length, LengthOrNone, Number, NumberOrNone, WithUnits
from parcelfence.units import parse_length_m

__all__ = ["OWN", "Animal", "greatest_reach"]

OWN: Final = ("reach_m", "core_ratio", "receiver_height_m", "animal_speed_m_per_s", "receiver_delay_s")
"""What an animal may have of its own, under the names of the settings that hold where it has not."""


class Animal(WithUnits):
    """An animal, and what of the settings is another for it.

    ``reach_m`` is how far from a long straight wire its receiver reacts at the common level: receivers have settings of
    their own, and hang at other heights.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", str_strip_whitespace=True)

    name: str = Field(min_length=1, max_length=40, description="Its name")
    kind: str = Field(default="", max_length=40, description="What it is, such as dog, 4 years, timid")
    reach_m: Length | None = Field(
        default=None,
        ge=0.1,
        le=30,
        validation_alias=AliasChoices("reach_m", "reach"),
        description="Reach of its receiver at the common level; that of the plan where left out",
    )
    core_ratio: float | None = Field(
        default=None, gt=0, lt=1, description="Core zone as a share of its reach; that of the settings where left out"
    )
    receiver_height_m: LengthOrNone | None = Field(
        default=None,
        le=3,
        validation_alias=AliasChoices("receiver_height_m", "receiver_height"),
        description="Height of its receiver above the ground; that of the settings where left out",
    )
    animal_speed_m_per_s: Number | None = Field(
        default=None,
        ge=0.1,
        le=30,
        validation_alias=AliasChoices("animal_speed_m_per_s", "speed_m_per_s", "speed"),
        description="Speed at which it meets the zone; that of the settings where left out",
    )
    receiver_delay_s: NumberOrNone | None = Field(
        default=None,
        le=10,
        validation_alias=AliasChoices("receiver_delay_s", "receiver_delay"),
        description="Time that its receiver takes to react; that of the settings where left out",
    )
    receiver_setting: str = Field(
        default="", max_length=40, description="What its receiver is set to, in the words of its makers; for the sheets"
    )

    @classmethod
    def names(cls) -> list[str]:
        """Give the names under which a person writes what an animal has."""
        return [_shortest(name) for name in cls.model_fields]

    def at_level(self, share: float) -> Animal:
        """Give the animal with its reach at another level: all reaches change by one share (exactly at height 0)."""
        return self if self.reach_m is None else self.model_copy(update={"reach_m": self.reach_m * share})


def _shortest(name: str) -> str:
    alias = Animal.model_fields[name].validation_alias
    return str(alias.choices[-1]) if isinstance(alias, AliasChoices) else name


def greatest_reach(animals: Any) -> Any:
    """Give the greatest reach of animals as it was written, with its unit; None where none has one.

    Raises
    ------
    SettingsError
        If a reach is not a length.
    """
    if not isinstance(animals, list | tuple):
        return None
    stated = [
        one.reach_m if isinstance(one, Animal) else one.get("reach", one.get("reach_m"))
        for one in animals
        if isinstance(one, Animal | Mapping)
    ]
    return max((reach for reach in stated if reach is not None), key=parse_length_m, default=None)
