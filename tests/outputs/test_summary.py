"""The summary: everything that a stranger needs to check the plan from the folder alone."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import pytest
from shapely import MultiPolygon

from parcelfence import __version__
from parcelfence.outputs.figures import figures, remarks
from parcelfence.settings import Settings
from parcelfence.units import METRIC, US

if TYPE_CHECKING:
    from pathlib import Path

    from parcelfence.finished_plan import Plan


@pytest.fixture(scope="module")
def summary(written: Path) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((written / "summary.json").read_text(encoding="utf-8"))
    return found


def test_every_setting_is_there_as_used(summary: dict[str, Any], plan: Plan) -> None:
    assert set(summary["settings"]) == set(Settings.model_fields)
    assert summary["settings"]["reach_m"] == plan.settings.reach_m
    assert summary["settings"]["lot_line_setback_m"] == pytest.approx(plan.settings.reach_m + 0.3)
    rebuilt = Settings(**{name: value for name, value in summary["settings"].items() if value is not None})
    for name, value in plan.settings.model_dump().items():
        assert getattr(rebuilt, name) == (pytest.approx(value, rel=1e-9) if isinstance(value, float) else value), name


def test_figures_are_those_of_the_plan(summary: dict[str, Any], plan: Plan) -> None:
    told = summary["figures"]
    assert told["loop_length_m"] == pytest.approx(sum(run.line.length for run in plan.loop.signal_runs), rel=1e-9)
    assert told["roam_area_m2"] == pytest.approx(plan.zones.roam.area, rel=1e-9)
    assert told["conductor_length_m"] == pytest.approx(plan.take_off.sequence.conductor_length_m, rel=1e-9)
    assert told["flags"] == len(plan.take_off.flags)
    assert told["loop_geodesic_length_m"] == pytest.approx(told["loop_length_m"], rel=1e-6)
    assert summary["circuit"]["resistance_ohm"] == pytest.approx(plan.circuit.resistance_ohm, rel=1e-9)
    assert summary["circuit"]["inductance_h"] > 0


def test_conflicts_are_counted_by_rule_and_severity(summary: dict[str, Any]) -> None:
    assert summary["conflicts"]["by_severity"] == {"must_fix": 1, "caution": 1, "note": 1}
    assert summary["conflicts"]["by_rule"]["utility-parallel"] == {"must_fix": 1}


def test_provenance_names_inputs_operations_and_repairs(summary: dict[str, Any]) -> None:
    assert summary["program"] == {"name": "parcelfence", "version": __version__}
    first = summary["provenance"]["inputs"][0]
    assert first["sha256"] == "0" * 64
    assert first["operation"]["accuracy_m"] == 0.0
    repairs = [repair for record in summary["provenance"]["inputs"] for repair in record["repairs"]]
    assert repairs[0]["found"] == "its ring crosses itself"
    to_wgs84 = summary["crs"]["to_wgs84"]
    assert to_wgs84["accuracy_is_stated"]
    assert to_wgs84["accuracy_m"] == 2.0  # EPSG: NAD83(2011) to WGS 84 (1), code 9774


def test_every_file_is_listed(summary: dict[str, Any], written: Path) -> None:
    there = {path.relative_to(written).as_posix() for path in written.rglob("*") if path.is_file()}
    assert set(summary["files"]) == there


def test_no_path_of_this_machine_is_in_it(written: Path) -> None:
    text = (written / "summary.json").read_text(encoding="utf-8")
    assert str(written.parent) not in text
    assert "/root" not in text
    assert "/home" not in text


def test_a_third_of_an_acre_at_twelve_feet_leaves_half(plan: Plan) -> None:
    """The check value of the design page: 49.5 % free by the field, 64 % by a buffer."""
    from shapely import LineString, Polygon

    from parcelfence.field.current import CurrentLoop, Receiver
    from parcelfence.field.zones import zones
    from parcelfence.layout.loop import Run

    ring = [(0.0, 0.0), (36.7, 0.0), (36.7, 36.7), (0.0, 36.7), (0.0, 0.0)]
    run = Run(part="loop", loop_id="L1", line=LineString(ring), current=1.0)
    loop = replace(plan.loop, runs=(run,), allowed=MultiPolygon([Polygon(ring)]))
    receiver = Receiver(3.66, 0.0)
    square = replace(plan, loop=loop, zones=zones([CurrentLoop.from_line(run.line)], receiver, inside=Polygon(ring)))
    found = figures(square)
    assert found.free_share_of_enclosed == pytest.approx(0.495, abs=0.0015)
    assert found.buffer_share_of_enclosed == pytest.approx(0.64, abs=0.001)
    said = " ".join(remarks(square, found, units=US))
    assert "Only 50% of the enclosed ground" in said or "Only 49% of the enclosed ground" in said
    assert "would leave 64% free" in said


def test_remarks_speak_up(plan: Plan) -> None:
    silent = replace(plan, site=replace(plan.site, utilities=()), zones=replace(plan.zones, roam=MultiPolygon()))
    said = remarks(silent, figures(silent), units=METRIC)
    assert said[0].startswith("No locate marks were given")
    assert any("nothing is left to roam" in sentence for sentence in said)
    wide = replace(plan, circuit=replace(plan.circuit, greatest_width_m=500.0))
    assert any("currents in the ground alter" in sentence for sentence in remarks(wide, figures(wide), units=METRIC))


def test_remarks_end_with_those_of_the_take_off(plan: Plan) -> None:
    counted = replace(plan, take_off=replace(plan.take_off, remarks=("The cost covers only: wire.",)))
    assert remarks(counted, figures(counted), units=METRIC)[-1] == "The cost covers only: wire."
