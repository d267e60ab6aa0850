"""The palette: complete, and readable without relying on hue."""

from __future__ import annotations

import re
from dataclasses import fields

import pytest

from parcelfence.conflict import SEVERITIES
from parcelfence.layers import LAYERS
from parcelfence.outputs.style import (
    APWA_HEX,
    PAPER,
    STYLE_COLUMN,
    STYLES,
    Style,
    layer_styles,
    style_of,
    tolerance_style,
)


@pytest.mark.parametrize("layer", [schema.name for schema in LAYERS])
def test_every_layer_has_a_style(layer: str) -> None:
    assert style_of(layer).title
    column = STYLE_COLUMN.get(layer)
    names = next(schema.column_names for schema in LAYERS if schema.name == layer)
    assert column is None or column in names


def test_an_unknown_value_gets_the_plainest_style() -> None:
    assert style_of("utilities", value="mauve") is STYLES["utilities", ""]
    assert style_of("utilities", value=" RED ") is STYLES["utilities", "red"]
    with pytest.raises(KeyError):
        style_of("no such layer")


def test_colours_are_those_of_the_uniform_colour_code() -> None:
    """APWA uniform colour code: eight marking colours (American Public Works Association, from memory)."""
    assert set(APWA_HEX) == {"red", "yellow", "orange", "blue", "green", "purple", "pink", "white"}


def test_every_severity_has_its_own_shape() -> None:
    shapes = [style_of("conflicts", value=severity).marker for severity in SEVERITIES]
    assert len(set(shapes)) == len(SEVERITIES)


def test_every_utility_has_its_own_letter() -> None:
    letters = [style.letter for style in layer_styles("utilities").values()]
    assert len(set(letters)) == len(letters)
    assert all(len(letter) == 1 for letter in letters)


def test_every_part_of_the_wire_has_its_own_dash() -> None:
    dashes = [style.dash_px for style in layer_styles("wire").values()]
    assert len(set(dashes)) == len(dashes)


@pytest.mark.parametrize("severity", SEVERITIES)
def test_severities_stand_off_the_paper(severity: str) -> None:
    """WCAG 2.2, success criterion 1.4.11: graphical objects have a contrast of at least 3:1."""
    assert _contrast(style_of("conflicts", value=severity).fill, PAPER) >= 3.0


def test_colours_are_written_as_six_digits() -> None:
    colors = {name for name in (field.name for field in fields(Style)) if name in {"stroke", "fill", "halo"}}
    written = [getattr(style, name) for style in STYLES.values() for name in colors]
    written += [tolerance_style(color).fill for color in APWA_HEX]
    assert all(not color or re.fullmatch(r"#[0-9a-f]{6}", color) for color in written)


def _contrast(one: str, other: str) -> float:
    """Contrast ratio by WCAG 2.2."""

    def luminance(color: str) -> float:
        shares = [int(color[place : place + 2], 16) / 255 for place in (1, 3, 5)]
        linear = [share / 12.92 if share <= 0.04045 else ((share + 0.055) / 1.055) ** 2.4 for share in shares]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)
