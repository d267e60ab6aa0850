"""How every layer looks: one palette for the map, the stored layer styles, the drawing file and the worksheet.

Hue never stands alone.  Utilities carry a letter, severities a shape, the parts of the wire a dash pattern, and the
ground is kept pale, so that a sheet still reads for a colour-blind person, in sunlight and in black and white.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final, Literal

__all__ = [
    "APWA_HEX",
    "INK",
    "PAPER",
    "STYLES",
    "STYLE_COLUMN",
    "Marker",
    "Style",
    "layer_styles",
    "style_of",
    "tolerance_style",
]

Marker = Literal["", "circle", "square", "diamond", "triangle", "hexagon", "pennant", "tick"]

INK: Final = "#1c2440"
"""Colour of text, wire and anything that must be seen first."""
PAPER: Final = "#f4f0e6"
"""Ground of the sheet."""
_WHITE: Final = "#ffffff"
_UNKNOWN: Final = "#3b3f45"


@dataclass(frozen=True, kw_only=True)
class Style:
    """How one kind of feature is drawn.

    Parameters
    ----------
    title : str
        What a legend calls it.
    stroke : str
        Colour of the line or outline, ``#rrggbb``; empty for none.
    width_px : float
        Width of the line in CSS pixels (1/96 inch).
    dash_px : tuple of float
        Lengths of dashes and gaps by turns, in CSS pixels; empty for an unbroken line.
    stroke_opacity : float
        0 to 1.
    fill : str
        Colour of the area, ``#rrggbb``; empty for none.
    fill_opacity : float
        0 to 1.
    halo : str
        Colour of a wider line drawn underneath, so that the line stands off its ground; empty for none.
    marker : str
        Shape of a point feature; empty for lines and areas.
    size_px : float
        Width of that shape.
    letter : str
        Letter written into the line or shape; it says what the colour says.
    """

    title: str
    stroke: str = ""
    width_px: float = 1.0
    dash_px: tuple[float, ...] = ()
    stroke_opacity: float = 1.0
    fill: str = ""
    fill_opacity: float = 0.0
    halo: str = ""
    marker: Marker = ""
    size_px: float = 0.0
    letter: str = ""


APWA_HEX: Final[dict[str, str]] = {
    "red": "#d3212c",
    "yellow": "#f2c500",
    "orange": "#f07d00",
    "blue": "#1769c4",
    "green": "#1d8a43",
    "purple": "#7d3c98",
    "white": _WHITE,
    "pink": "#ef5fa7",
}
"""Colours of the APWA uniform colour code for temporary marking, as screen colours of our choice."""

_APWA_MEANING: Final = {
    "red": ("Electric power, lighting", "E"),
    "yellow": ("Gas, oil, steam", "G"),
    "orange": ("Communication, cable", "C"),
    "blue": ("Drinking water", "W"),
    "green": ("Sewer and drain", "S"),
    "purple": ("Reclaimed water, irrigation", "R"),
    "white": ("Proposed excavation", "P"),
    "pink": ("Survey marking", "X"),
    "": ("Unknown utility", "?"),
}


def _utility(color: str) -> Style:
    title, letter = _APWA_MEANING[color]
    pale = color in {"white", "yellow"}
    return Style(
        title=title,
        stroke=APWA_HEX.get(color, _UNKNOWN),
        width_px=3.0,
        dash_px=() if color else (6, 4),
        halo=INK if pale else _WHITE,
        letter=letter,
    )


def _area(title: str, **look: Any) -> Style:
    return Style(title=title, **{"fill_opacity": 1.0 if look.get("fill") else 0.0, **look})


def _point(title: str, **look: Any) -> Style:
    return Style(title=title, **{"stroke": INK, "fill_opacity": 1.0, "width_px": 1.5, **look})


def _wire(title: str, *, width_px: float = 3.5, dash_px: tuple[float, ...] = ()) -> Style:
    return Style(title=title, stroke=INK, width_px=width_px, dash_px=dash_px, halo=_WHITE)


STYLES: Final[dict[tuple[str, str], Style]] = {
    ("neighbours", ""): _area("Neighbouring parcels", stroke="#a79e8b", width_px=1.0),
    ("parcel", ""): _area("Parcel", stroke="#4b4433", fill="#fffdf7", width_px=2.5, dash_px=(14, 4, 3, 4)),
    ("zones", "roam"): _area("Roam area", stroke="#5f9a6c", fill="#9cc7a0", fill_opacity=0.30, width_px=1.0),
    ("wanted_area", ""): _area("Wanted area", stroke="#6f7f4a", width_px=1.5, dash_px=(8, 5)),
    ("water", ""): _area("Water", stroke="#5d93ab", fill="#c4dfe8", width_px=1.2),
    ("watercourses", ""): _area("Creeks and ditches", stroke="#5d93ab", fill="#d6e8ee", width_px=1.0, dash_px=(5, 3)),
    ("roads", ""): _area("Roads", stroke="#b5ab98", fill="#e2dccd", width_px=1.0),
    ("hardscape", ""): _area("Drives and patios", stroke="#b7b0a3", fill="#e3dfd6", width_px=1.0),
    ("joints", ""): Style(title="Joints in hard surfaces", stroke="#8d8678", width_px=1.2),
    ("easements", ""): _area(
        "Easements", stroke="#8a6d3b", fill="#d9c08a", fill_opacity=0.18, width_px=1.3, dash_px=(10, 4, 2, 4, 2, 4)
    ),
    ("keep_outs", ""): _area(
        "Keep-outs of the animal", stroke="#7a5230", fill="#c99b6b", fill_opacity=0.28, width_px=1.5, dash_px=(4, 3)
    ),
    ("no_dig", ""): _area(
        "Not to be dug", stroke="#6a6a52", fill="#b9b58f", fill_opacity=0.28, width_px=1.5, dash_px=(2, 3)
    ),
    ("trees", ""): _area("Roots of trees", stroke="#7c9a63", fill="#a9c08f", fill_opacity=0.30, width_px=1.0),
    ("buildings", ""): _area("Buildings", stroke="#4a4a4f", fill="#a9a6a3", width_px=1.4),
    ("zones", "indoors"): _area("Indoors", stroke="#5f9a6c", fill="#b9d6b6", fill_opacity=0.55, width_px=0.8),
    ("fences", ""): Style(title="Fences", stroke="#6b5b45", width_px=1.6, dash_px=(9, 2, 1, 2)),
    ("gates", ""): _point("Gates", marker="square", fill="#d8c7a3", size_px=8, width_px=1.2),
    ("metal", ""): _point("Large metal objects", marker="hexagon", fill="#7c8794", size_px=12),
    ("doors", ""): _point("Doors", marker="square", fill=_WHITE, size_px=8, width_px=1.5),
    ("other_loops", ""): Style(title="Other loops nearby", stroke="#6b7086", width_px=2.0, dash_px=(6, 4), halo=_WHITE),
    ("open_sides", ""): Style(title="Open sides", stroke="#3e8f8a", width_px=4.0, dash_px=(1, 6), halo=_WHITE),
    ("passages", ""): Style(title="Passages", stroke="#2f7d32", width_px=3.0, dash_px=(6, 4), halo=_WHITE),
    ("zones", "signal"): _area("Signal zone", stroke="#6a4fb3", fill="#8f79d1", fill_opacity=0.22, width_px=1.3),
    ("zones", "core"): _area(
        "Core zone", stroke="#6a4fb3", fill="#6a4fb3", fill_opacity=0.32, width_px=0.8, dash_px=(3, 3)
    ),
    ("animal_zones", ""): _area(
        "Zones of single animals",
        stroke="#9a4f8f",
        fill="#9a4f8f",
        fill_opacity=0.06,
        width_px=1.5,
        dash_px=(7, 3, 2, 3),
    ),
    **{("utilities", color): _utility(color) for color in _APWA_MEANING},
    ("wire", "loop"): _wire("Loop"),
    ("wire", "inner_loop"): _wire("Inner loop", width_px=3.0, dash_px=(16, 4)),
    ("wire", "return_run"): _wire("Return run", width_px=3.0, dash_px=(12, 4, 2, 4)),
    ("wire", "lead_in"): _wire("Lead-in, twisted pair", width_px=3.0, dash_px=(3, 4)),
    ("reach", ""): _point("Reach along the wire", marker="circle", fill=_WHITE, size_px=3, width_px=0.8),
    ("stations", ""): _point("Stations", marker="tick", fill=_WHITE, size_px=5, width_px=1.2),
    ("flags", ""): _point("Flags", marker="pennant", fill="#ffffff", size_px=10, width_px=1.3),
    ("crossings", ""): _point("Crossings", marker="diamond", fill="#ffe27a", size_px=13, width_px=1.8),
    ("splices", ""): _point("Splices", marker="square", fill="#7fd0d6", size_px=11, width_px=1.8),
    ("ties", ""): Style(title="Tape ties", stroke="#8a6d3b", width_px=0.8, dash_px=(5, 3)),
    ("transmitter", ""): _point(
        "Transmitter", marker="hexagon", fill=INK, size_px=20, width_px=1.5, stroke=_WHITE, letter="T"
    ),
    ("conflicts", "must_fix"): _point(
        "Must fix", marker="triangle", fill="#b0102e", size_px=20, width_px=1.6, stroke=_WHITE, letter="!"
    ),
    ("conflicts", "caution"): _point(
        "Caution", marker="diamond", fill="#c46a00", size_px=18, width_px=1.6, stroke=_WHITE
    ),
    ("conflicts", "note"): _point(
        "Note", marker="circle", fill="#2f6f9f", size_px=14, width_px=1.6, stroke=_WHITE, letter="i"
    ),
}
"""Style by layer and by the value of the layer's style column (empty where the layer has one style).

The order is that of drawing, from the ground up: the roam area lies under buildings, the signal over them.
"""

STYLE_COLUMN: Final[dict[str, str]] = {
    "utilities": "apwa_color",
    "zones": "kind",
    "wire": "part",
    "conflicts": "severity",
}
"""Column whose value chooses the style, for the layers that have several."""

_FALLBACK: Final = {"utilities": "", "zones": "signal", "wire": "loop", "conflicts": "note"}


def style_of(layer: str, *, value: str = "") -> Style:
    """Give the style of one feature.

    Parameters
    ----------
    layer : str
        Name of the layer.
    value : str
        Value of its style column; what is not known gets the plainest style of the layer.

    Raises
    ------
    KeyError
        If the layer has no style, which is a programming error.
    """
    found = STYLES.get((layer, value.strip().lower()))
    return found if found is not None else STYLES[layer, _FALLBACK.get(layer, "")]


def layer_styles(layer: str) -> dict[str, Style]:
    """Give all styles of a layer by the value of its style column."""
    return {value: style for (name, value), style in STYLES.items() if name == layer}


def tolerance_style(apwa_color: str) -> Style:
    """Give the style of the tolerance zone beside a utility, from the colour of its mark."""
    line = style_of("utilities", value=apwa_color)
    fill = "#8d8a80" if line.stroke == _WHITE else line.stroke
    return Style(
        title=f"{line.title}: tolerance zone",
        stroke=fill,
        width_px=0.8,
        dash_px=(2, 3),
        stroke_opacity=0.8,
        fill=fill,
        fill_opacity=0.16,
    )
