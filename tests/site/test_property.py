from __future__ import annotations

import pytest
import shapely
from shapely import Polygon, box

from parcelfence.errors import InputError
from parcelfence.site.property import property_ground


def test_one_parcel_stays_as_it_is() -> None:
    ground = property_ground([box(0, 0, 30, 20)], where="lots")
    assert ground.area.equals(box(0, 0, 30, 20))
    assert not ground.remarks


def test_neighbouring_lots_become_one_across_a_drawing_gap() -> None:
    ground = property_ground([box(0, 0, 30, 20), box(30.06, 0, 60, 20)], where="lots")
    assert isinstance(ground.area, Polygon)
    assert ground.area.area == pytest.approx(60 * 20, rel=1e-6)
    assert "gaps" in ground.remarks[0]


def test_lots_across_a_road_stay_apart() -> None:
    ground = property_ground([box(0, 0, 30, 20), box(40, 0, 60, 20)], where="lots")
    assert shapely.get_num_geometries(ground.area) == 2


def test_a_stack_of_units_is_one_lot() -> None:
    assert property_ground([box(0, 0, 30, 20)] * 59, where="lots").area.area == pytest.approx(600)


def test_slivers_are_left_out_and_said() -> None:
    ground = property_ground([box(0, 0, 30, 20), box(50, 0, 50.01, 20)], where="lots")
    assert ground.area.area == pytest.approx(600)
    assert "sliver" in ground.remarks[0]


def test_a_lot_without_ground_is_refused() -> None:
    with pytest.raises(InputError, match="square metres"):
        property_ground([box(0, 0, 0.1, 0.1)], where="lots.shp")
