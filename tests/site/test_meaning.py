"""What features mean: keep-outs of two kinds, creeks and drives drawn as lines, pools, trees."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import pytest
from shapely import LineString, box
from shapely.geometry import mapping

from parcelfence import Settings, read_site
from parcelfence.site.feature import Feature
from parcelfence.site.meaning import surface
from tests.inputs.layers import feature, geojson

if TYPE_CHECKING:
    from pathlib import Path

    from shapely.geometry.base import BaseGeometry

    from parcelfence.site.site import Site

DEGREE_M = 111_320.0
"""Length of a degree of longitude on the equator, near which the lot lies; good to one in a thousand here."""


def _on_the_equator(shape: BaseGeometry, **properties: Any) -> dict[str, Any]:
    """Give a feature that is drawn in metres, as GeoJSON beside the crossing of equator and meridian."""
    drawn = mapping(shape)

    def degrees(part: Any) -> Any:
        return [value / DEGREE_M for value in part] if isinstance(part[0], float | int) else [*map(degrees, part)]

    return feature({"type": drawn["type"], "coordinates": degrees(drawn["coordinates"])}, **properties)


def _site(folder: Path, settings: Settings | None = None, **layers: list[dict[str, Any]]) -> Site:
    files = {role: geojson(folder / f"{role}.geojson", features) for role, features in layers.items()}
    parcels = geojson(folder / "parcels.geojson", [_on_the_equator(box(0, 0, 60, 60))])
    return read_site(parcels=parcels, settings=settings, **files)


def test_a_column_tells_the_two_kinds_of_keep_out(tmp_path: Path) -> None:
    square = box(10, 10, 20, 20)
    site = _site(
        tmp_path,
        keep_outs=[
            _on_the_equator(square, id="a", restriction="no dig"),
            _on_the_equator(square, id="b", restriction="no_animal", kind="rock garden"),
            _on_the_equator(square, id="c", kind="septic field"),
            _on_the_equator(square, id="d", kind="rock garden"),
            _on_the_equator(square, id="e", no_dig=True, kind="garden"),
            _on_the_equator(square, id="f"),
        ],
    )
    assert [one.id for one in site.no_dig] == ["a", "c", "e"]
    assert [one.id for one in site.keep_outs] == ["b", "d", "f"]


def test_two_roles_tell_them_as_well(tmp_path: Path) -> None:
    site = _site(
        tmp_path,
        no_animal=[_on_the_equator(box(1, 1, 9, 9), kind="septic field")],
        no_dig=[_on_the_equator(box(11, 11, 19, 19), kind="garden")],
    )
    assert [one.kind for one in site.keep_outs] == ["septic field"]
    assert [one.kind for one in site.no_dig] == ["garden"]


def test_a_ditch_drawn_as_a_line_gets_its_width_and_a_pond_stays_open_water(tmp_path: Path) -> None:
    line = LineString([(0, 30), (60, 30)])
    site = _site(
        tmp_path,
        Settings(watercourse_width_m=0.8),
        water=[
            _on_the_equator(line, id="plain", kind="ditch"),
            _on_the_equator(line, id="wide", kind="creek", width_ft=5),
            _on_the_equator(line, id="said", kind="creek", width="2 m"),
            _on_the_equator(box(10, 40, 30, 50), id="pond", kind="pond"),
            _on_the_equator(box(0, 20, 60, 21.5), id="strip", kind="creek"),
            _on_the_equator(box(0, 20, 60, 28), id="broad", kind="stream"),
            _on_the_equator(LineString(box(40, 40, 50, 50).exterior.coords), id="shore", kind="pond"),
        ],
    )
    widths = {one.id: one.geometry.area / 60 for one in site.watercourses}
    assert widths == pytest.approx({"plain": 0.8, "wide": 5 * 0.3048, "said": 2.0, "strip": 1.5}, rel=0.01)
    assert {one.id for one in site.water} == {"pond", "broad", "shore"}
    (said,) = [remark for remark in site.provenance.remarks if "waters" in remark]
    assert said.startswith("1 of the waters")
    assert "0.8 m wide" in said


def test_a_drive_drawn_as_a_line_becomes_a_surface_and_a_joint_stays_a_line(tmp_path: Path) -> None:
    line = LineString([(30, 0), (30, 40)])
    site = _site(
        tmp_path,
        hardscape=[
            _on_the_equator(line, id="drive", kind="gravel drive"),
            _on_the_equator(line, id="joint", kind="expansion joint"),
        ],
    )
    (drive,) = site.hardscape
    assert drive.geometry.area == pytest.approx(3.0 * 40, rel=0.02)
    assert [one.id for one in site.joints] == ["joint"]
    assert any("3 m wide" in remark for remark in site.provenance.remarks)


def test_paving_at_a_pool_is_its_surround_whatever_it_is_called_but_a_drive_is_not(tmp_path: Path) -> None:
    site = _site(
        tmp_path,
        keep_outs=[_on_the_equator(box(20, 20, 30, 30), kind="swimming pool")],
        hardscape=[
            _on_the_equator(box(18, 18, 32, 32), kind="paver patio"),
            _on_the_equator(box(30, 20, 34, 60), kind="concrete drive"),
            _on_the_equator(box(2, 2, 8, 8), kind="Pool deck"),
            _on_the_equator(box(40, 2, 48, 8), kind="patio"),
        ],
    )
    assert [surface(one) for one in site.hardscape] == ["pool surround", "concrete", "pool surround", "concrete"]
    assert site.hardscape[0].kind == "pool surround (paver patio)"


@pytest.mark.parametrize(
    ("kind", "made_of"),
    [("Gravel drive", "gravel"), ("brick walk", "pavers"), ("wooden deck", "deck"), ("asphalt", "concrete")],
)
def test_what_a_surface_is_made_of(kind: str, made_of: str) -> None:
    assert surface(Feature(id="1", kind=kind, source_id="", geometry=box(0, 0, 1, 1))) == made_of


def test_roots_reach_twelve_stem_diameters_up_to_fifteen_metres(tmp_path: Path) -> None:
    """BS 5837:2012: roots are protected within 12 diameters of the stem, 15 m at most (from memory)."""
    trunk = LineString([(30, 30), (30, 30.1)]).centroid
    site = _site(
        tmp_path,
        trees=[
            _on_the_equator(trunk, id="cm", dbh_cm=50),
            _on_the_equator(trunk, id="inches", dbh=20),
            _on_the_equator(trunk, id="text", diameter="0.4 m"),
            _on_the_equator(trunk, id="giant", diameter_m=2),
            _on_the_equator(trunk, id="stated", root_radius="10 ft"),
            _on_the_equator(trunk, id="none"),
            _on_the_equator(box(10, 10, 14, 14), id="area"),
        ],
    )
    radii = {one.id: math.sqrt(one.geometry.area / math.pi) for one in site.trees if one.id != "area"}
    expected = {"cm": 6.0, "inches": 12 * 0.508, "text": 4.8, "giant": 15.0, "stated": 3.048, "none": 3.0}
    assert radii == pytest.approx(expected, rel=0.005)
    assert any("1 trees state no diameter" in remark for remark in site.provenance.remarks)


def test_fences_gates_and_passages_are_taken_as_they_are(tmp_path: Path) -> None:
    line = LineString([(30, -2), (30, 4)])
    site = _site(
        tmp_path,
        fences=[_on_the_equator(line)],
        gates=[_on_the_equator(line.centroid), _on_the_equator(line)],
        passages=[_on_the_equator(line, id="to the field")],
    )
    assert [one.kind for one in (*site.fences, *site.gates)] == ["fence", "gate", "gate"]
    assert [one.id for one in site.passages] == ["to the field"]
