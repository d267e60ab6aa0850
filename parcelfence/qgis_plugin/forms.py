"""Parameters of the algorithms, made from the schema, so that no form is written twice."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from qgis.core import (
    QgsProcessing,
    QgsProcessingParameterBoolean,
    QgsProcessingParameterDefinition,
    QgsProcessingParameterEnum,
    QgsProcessingParameterFeatureSource,
    QgsProcessingParameterMultipleLayers,
    QgsProcessingParameterString,
)

from . import schema

if TYPE_CHECKING:
    from collections.abc import Iterator

__all__ = ["MORE_MARKS", "PROPERTY", "given_settings", "property_parameters", "setting_parameters"]

PROPERTY = "PROPERTY"
MORE_MARKS = "MORE_MARKS"
_TYPES = {
    0: QgsProcessing.TypeVectorPoint,
    1: QgsProcessing.TypeVectorLine,
    2: QgsProcessing.TypeVectorPolygon,
}
_USUAL = frozenset({"parcels", "buildings", "marks", "keep_outs", "water", "hardscape", "doors", "transmitter"})
"""Roles that a form shows at once; the others stand under its advanced parameters."""


def property_parameters(*, several: bool = False, required: bool = True) -> Iterator[Any]:
    """Make a parameter for every role, and for the property among the parcels.

    Parameters
    ----------
    several : bool
        Whether every parcel is taken, so that none is chosen.
    required : bool
        Whether there must be parcels; a project file may name them instead.
    """
    for role in schema.roles():
        title = role.name.replace("_", " ").capitalize()
        parameter = QgsProcessingParameterFeatureSource(
            role.name.upper(),
            f"{title}: {role.meaning}",
            [_TYPES[dimension] for dimension in role.dimensions],
            optional=role.name != "parcels" or not required,
        )
        yield parameter if role.name in _USUAL else _advanced(parameter)
        if role.name == "parcels" and not several:
            yield QgsProcessingParameterString(
                PROPERTY,
                "Property as FIELD=VALUE; empty: the parcels that are selected in their layer",
                optional=True,
            )
        if role.name == "marks":
            yield _advanced(
                QgsProcessingParameterMultipleLayers(
                    MORE_MARKS, "Further layers of marks", QgsProcessing.TypeVectorAnyGeometry, optional=True
                )
            )


def setting_parameters() -> Iterator[Any]:
    """Make a parameter for every setting; what is left as it is keeps its default."""
    for setting in schema.settings():
        parameter = _setting_parameter(setting)
        yield parameter if setting.common else _advanced(parameter)


def _setting_parameter(setting: schema.SettingField) -> Any:
    name, text = setting.short.upper(), _text(setting)
    if setting.kind == "choice":
        return QgsProcessingParameterEnum(name, text, list(setting.choices), optional=True, usesStaticStrings=True)
    if setting.kind == "flag":
        return QgsProcessingParameterBoolean(name, text, defaultValue=bool(setting.default), optional=True)
    return QgsProcessingParameterString(name, text, optional=True)


def _text(setting: schema.SettingField) -> str:
    title = setting.short.replace("_", " ").capitalize()
    takes = {
        "length": "as 8 ft or 2.4 m",
        "area": "in m2",
        "table": "as NAME=VALUE, NAME=VALUE",
        "tables": "as NAME=VALUE, NAME=VALUE; the next one after a semicolon",
    }.get(setting.kind, f"in {setting.unit}" if setting.unit else "")
    default = f"default {setting.default_text}" if setting.default_text and setting.kind != "flag" else ""
    notes = ", ".join(note for note in (takes, default) if note)
    return f"{title}: {setting.meaning}" + (f" ({notes})" if notes else "")


def given_settings(text_of: Any, flag_of: Any) -> dict[str, Any]:
    """Pick out the settings that were given.

    Parameters
    ----------
    text_of, flag_of : callable
        Give the text and the truth of a parameter by its name.
    """
    given: dict[str, Any] = {}
    for setting in schema.settings():
        name = setting.short.upper()
        if setting.kind == "flag":
            if flag_of(name) is not bool(setting.default):
                given[setting.short] = flag_of(name)
        elif text := text_of(name).strip():
            given[setting.short] = _in_parts(text, kind=setting.kind)
    return given


def _in_parts(text: str, *, kind: str) -> Any:
    """Take a text apart where it stands for one table or for several."""
    if kind == "tables":
        return [_pairs(part) for part in text.split(";") if part.strip()]
    return _pairs(text) if kind == "table" else text


def _pairs(text: str) -> dict[str, str]:
    pairs = (part.partition("=") for part in text.split(","))
    return {name.strip(): value.strip() for name, _, value in pairs}


def _advanced(parameter: Any) -> Any:
    parameter.setFlags(parameter.flags() | QgsProcessingParameterDefinition.FlagAdvanced)
    return parameter
