"""The drawing file, by ezdxf's own audit and against the plan."""

from __future__ import annotations

from typing import TYPE_CHECKING

import ezdxf
import pytest

from parcelfence.layers import LAYERS
from parcelfence.outputs.registry import write
from parcelfence.outputs.tables import tables

if TYPE_CHECKING:
    from pathlib import Path

    from ezdxf.document import Drawing

    from parcelfence.finished_plan import Plan


@pytest.fixture(scope="module")
def drawing(written: Path) -> Drawing:
    return ezdxf.readfile(written / "plan.dxf")


def test_the_audit_finds_nothing(drawing: Drawing) -> None:
    auditor = drawing.audit()
    assert not auditor.errors
    assert not auditor.fixes


def test_it_is_in_metres_with_true_extents(drawing: Drawing, plan: Plan) -> None:
    """DXF reference, header variables: $INSUNITS 6 is metres."""
    assert drawing.header["$INSUNITS"] == 6
    west, south, east, north = zip(*(t.total_bounds for t in tables(plan).values() if len(t)), strict=True)
    assert drawing.header["$EXTMIN"][:2] == pytest.approx((min(west), min(south)))
    assert drawing.header["$EXTMAX"][:2] == pytest.approx((max(east), max(north)))
    assert tuple(drawing.modelspace().dxf.extmax) == pytest.approx((max(east), max(north), 0.0))


def test_the_loop_is_closed_and_as_long_as_planned(drawing: Drawing, plan: Plan) -> None:
    (loop,) = drawing.modelspace().query('LWPOLYLINE[layer=="PF-WIRE-LOOP"]')
    assert loop.closed
    points = [complex(x, y) for x, y, *_ in loop.get_points()]
    length = sum(abs(after - before) for before, after in zip(points, [*points[1:], points[0]], strict=True))
    assert length == pytest.approx(plan.loop.runs[0].line.length, rel=1e-7)


def test_themes_have_layers_with_colours_of_their_own(drawing: Drawing, plan: Plan) -> None:
    used = {entity.dxf.layer for entity in drawing.modelspace()}
    assert {"PF-PARCEL", "PF-BUILDINGS", "PF-UTILITIES-YELLOW", "PF-UTILITIES", "PF-ZONES-SIGNAL"} <= used
    assert {"PF-WIRE-LOOP", "PF-WIRE-INNERLOOP", "PF-WIRE-LEADIN", "PF-CONFLICTS-MUSTFIX"} <= used
    assert "0" not in used
    assert drawing.layers.get("PF-UTILITIES-YELLOW").rgb == (0xF2, 0xC5, 0x00)
    flags = drawing.modelspace().query('POINT[layer=="PF-FLAGS"]')
    assert len(flags) == len(plan.take_off.flags)


def _contrast(colour: tuple[int, int, int], ground: tuple[int, int, int]) -> float:
    """Contrast ratio by WCAG 2.2, relative luminance after its formula for sRGB."""

    def luminance(parts: tuple[int, int, int]) -> float:
        shares = [part / 255 for part in parts]
        linear = [share / 12.92 if share <= 0.04045 else ((share + 0.055) / 1.055) ** 2.4 for share in shares]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    lighter, darker = sorted((luminance(colour), luminance(ground)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def test_nothing_is_lost_on_a_dark_ground_or_a_light_one(drawing: Drawing) -> None:
    for layer in drawing.layers:
        if layer.dxf.name.startswith("PF-"):
            adaptive = layer.rgb is None and layer.color == 7
            assert adaptive or _contrast(layer.rgb, (0, 0, 0)) > 2.2, layer.dxf.name
            assert adaptive or _contrast(layer.rgb, (255, 255, 255)) > 1.1, layer.dxf.name
    assert drawing.layers.get("PF-WIRE-LOOP").rgb is None


def test_line_types_run_through_the_vertices_at_a_usual_plot_scale(drawing: Drawing) -> None:
    lines = drawing.modelspace().query("LWPOLYLINE")
    assert all(line.dxf.flags & 128 for line in lines)
    scale = int(dict(drawing.header.custom_vars)["PLOT SCALE"].removeprefix("1:"))
    assert scale in {100, 200, 250, 500, 1000}
    heights = {round(text.dxf.height / scale * 1000, 2) for text in drawing.modelspace().query("TEXT")}
    assert heights <= {1.8, 2.5, 3.5}


def test_the_reach_is_drawn_but_off(drawing: Drawing, plan: Plan) -> None:
    assert len(drawing.modelspace().query('POINT[layer=="PF-REACH"]')) == len(tables(plan)["reach"]) > 0
    assert drawing.layers.get("PF-REACH").is_off()
    assert drawing.layers.get("PF-STATIONS").is_on()


def test_what_is_off_has_no_text_that_is_on(drawing: Drawing) -> None:
    off = {schema.name for schema in LAYERS if not schema.shown and schema.label}
    assert "ties" in off
    assert all(drawing.layers.get(f"PF-{name.upper().replace('_', '')}-TEXT").is_off() for name in off)
    assert drawing.layers.get("PF-UTILITIES-TEXT").is_on()


def test_labels_hold_no_codes(nasty_written: Path) -> None:
    texts = [text.dxf.text for text in ezdxf.readfile(nasty_written / "plan.dxf").modelspace().query("TEXT")]
    assert texts
    assert not [text for text in texts if "\n" in text or "%%" in text or "^" in text or "\\" in text]
    assert "\"double\" and 'single' & <b>" in texts


def test_feet_of_the_state_plane(plan: Plan, tmp_path: Path) -> None:
    """DXF reference, $INSUNITS 21: US survey feet."""
    folder = write(plan, tmp_path / "out", formats=["dxf"], dst_crs="EPSG:6535")
    assert ezdxf.readfile(folder / "plan.dxf").header["$INSUNITS"] == 21
