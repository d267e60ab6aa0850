"""Ground within doubled-back wire, where its outline is known by hand."""

from __future__ import annotations

import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import LineString, Polygon, box
from shapely.affinity import rotate

from parcelfence.layout.open_ground import contained_ground
from tests.layout.sites import feature, make_site

LOT = box(0, 0, 60, 40)
HORSESHOE = Polygon([(3, 37), (3, 3), (57, 3), (57, 37), (54, 37), (54, 6), (6, 6), (6, 37)])
"""Three metres wide along three sides; its ends are 3 m from the north side."""


@given(turned_deg=st.floats(0, 360), start=st.integers(0, 7))
def test_the_ground_reaches_to_the_open_side(turned_deg: float, start: int) -> None:
    """However the property is turned, and wherever the wire begins."""
    xy = list(HORSESHOE.exterior.coords[:-1])
    band = rotate(Polygon(xy[start:] + xy[:start]), turned_deg, origin=(0, 0))
    lot, side = (rotate(one, turned_deg, origin=(0, 0)) for one in (LOT, LineString([(0, 40), (60, 40)])))
    ground = contained_ground([band], site=make_site(lot, open_sides=[side]))
    assert ground is not None
    within, around = (rotate(box(*edges), turned_deg, origin=(0, 0)) for edges in ((6, 6, 54, 40), (3, 3, 57, 40)))
    assert ground.covers(within.buffer(-0.1))
    assert around.buffer(0.1).covers(ground)


def test_wire_doubled_back_along_nothing_contains_only_its_own_strip() -> None:
    assert contained_ground([HORSESHOE], site=make_site(LOT)) is None


def test_ground_beyond_the_water_is_not_contained() -> None:
    pond, shore = box(-10, 30, 70, 60), LineString([(0, 30), (60, 30)])
    ground = contained_ground([HORSESHOE], site=make_site(LOT, water=[pond], open_sides=[shore]))
    assert ground is not None
    assert ground.intersection(pond).area == pytest.approx(HORSESHOE.intersection(pond).area, abs=0.1)
    assert ground.intersection(box(6, 6, 54, 30)).area == pytest.approx(48 * 24, abs=0.1)


def test_a_gap_for_a_passage_is_closed_across() -> None:
    outer, inner = box(3, 3, 57, 37), box(6, 6, 54, 34)
    band = outer.difference(inner).difference(box(28, 0, 33, 10))
    assert contained_ground([band], site=make_site(LOT)) is None
    way = feature(LineString([(30, 12), (31, -5)]))
    ground = contained_ground([band], site=make_site(LOT, passages=(way,)))
    assert ground is not None
    assert ground.covers(inner.buffer(-0.1))
    assert outer.buffer(0.1).covers(ground)
    assert shapely.get_num_geometries(ground) == 1
