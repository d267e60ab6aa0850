"""Shape: bends, facing runs, passages, pockets, and loops without a free spot."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import assume, given
from hypothesis import strategies as st
from shapely import LineString, Point, Polygon, affinity, box

from parcelfence.rules.bends import bend_radii
from parcelfence.rules.passage import narrow_passages
from parcelfence.settings import Settings
from tests.rules import sites

SETTINGS = Settings(reach_m=2.0, bend_radius_m=1.0)


def _found(
    rule: str, loop: sites.Loop, *, settings: Settings = SETTINGS, **changes: object
) -> tuple[sites.Conflict, ...]:
    return sites.found(rule, sites.draft(sites.site(**changes), loop, settings=settings))


@given(
    radius_m=st.floats(0.5, 5.0),
    chords=st.integers(5, 64),
    turn_deg=st.floats(0, 360),
    share=st.floats(0.0, 0.999),
)
def test_chords_of_an_arc_have_its_radius(radius_m: float, chords: int, turn_deg: float, share: float) -> None:
    """Whatever the chords, if they follow the arc closely, the direction and the start of the line."""
    assume(radius_m * (1 - math.cos(math.pi / 4 / chords)) < 0.015)
    outline = box(0, 0, 30, 20).buffer(-radius_m, join_style="mitre").buffer(radius_m, quad_segs=chords)
    outline = affinity.rotate(outline, turn_deg, origin=(0, 0))
    xy = shapely.get_coordinates(sites.ring(outline))[:-1]
    xy = np.roll(xy, int(share * len(xy)), axis=0)
    _, radii = bend_radii(LineString([*xy, xy[0]]), window_m=radius_m / 4)
    assert radii.min() == pytest.approx(radius_m, rel=0.05)


def test_a_sharp_corner_has_a_small_radius_whichever_way_it_turns() -> None:
    for corner in ([(0, 0), (10, 0), (10, 10)], [(10, 10), (10, 0), (0, 0)], [(0, 0), (10, 0), (0, 0.5)]):
        _, radii = bend_radii(LineString(corner), window_m=0.25)
        assert radii.min() < 0.25


@pytest.mark.parametrize("turn_deg", [8.0, 15.0, 20.0])
def test_a_slight_corner_counts_as_the_arc_within_two_centimetres_of_it(turn_deg: float) -> None:
    """The arc that touches both legs and passes the corner at a distance e has the radius e / (sec(d/2) - 1)."""
    end = 10 * np.array([math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))])
    _, radii = bend_radii(LineString([(-10, 0), (0, 0), end]), window_m=0.25)
    assert radii.min() == pytest.approx(0.02 / (1 / math.cos(math.radians(turn_deg) / 2) - 1), rel=0.02)


def test_a_straight_line_with_many_vertices_does_not_bend() -> None:
    _, radii = bend_radii(shapely.segmentize(LineString([(0, 0), (10, 3)]), 0.1), window_m=0.25)
    assert radii.min(initial=np.inf) > 1e6
    stations, _ = bend_radii(LineString([(0, 0), (10, 3)]), window_m=0.25)
    assert not len(stations)


def test_bends_at_the_radius_hold_and_tighter_ones_are_told_one_by_one() -> None:
    outline = box(3, 3, 57, 37)
    assert not _found("sharp-bend", sites.loop_of(sites.loop_run(sites.rounded(outline, 1.0))))
    found = _found("sharp-bend", sites.loop_of(sites.loop_run(sites.rounded(outline, 0.8))))
    assert [conflict.measured for conflict in found] == pytest.approx([0.8] * 4, rel=0.05)
    corners = shapely.points([(3, 3), (57, 3), (57, 37), (3, 37)])
    distances = shapely.distance(np.array([conflict.geometry for conflict in found])[:, None], corners)
    assert sorted(distances.argmin(axis=1)) == [0, 1, 2, 3]
    assert distances.min(axis=1).max() == pytest.approx(0.8 * (math.sqrt(2) - 1), abs=0.01)


def test_square_corners_are_called_sharp() -> None:
    found = _found("sharp-bend", sites.loop_of(sites.loop_run(box(3, 3, 57, 37))))
    assert len(found) == 4
    assert all("a sharp corner" in conflict.message for conflict in found)


def test_the_lead_in_may_bend_as_it_likes() -> None:
    run = sites.loop_run(sites.rounded(box(3, 3, 57, 37)))
    pair = sites.lead_in((20, 20), (40, 20), (40, 25))
    assert not _found("sharp-bend", sites.loop_of(run, pair))


def _notched(gap_m: float) -> Polygon:
    """Two wide rooms around a cut from the north, whose two sides face each other across the gap."""
    middle = 30.0
    outline = box(3, 3, 57, 37).difference(box(middle - gap_m / 2, 15, middle + gap_m / 2, 40))
    return sites.rounded(outline, 0.5)


def test_runs_two_reaches_apart_hold_and_nearer_ones_are_told_once() -> None:
    assert not _found("facing-runs", sites.loop_of(sites.loop_run(_notched(4.1))))
    (conflict,) = _found("facing-runs", sites.loop_of(sites.loop_run(_notched(3.0))))
    assert conflict.measured == pytest.approx(3.0, abs=0.005)
    assert conflict.limit == 4.0
    # beside two long wires with opposite currents the reach is (s/2)(sqrt(1 + 4w/s) - 1) at the height of the wire
    flat = Settings(reach_m=2.0, receiver_height_m=0.0, burial_depth_m=0.0)
    run = sites.loop_run(_notched(3.0))
    (conflict,) = sites.found("facing-runs", sites.draft(loop=sites.loop_of(run), settings=flat))
    assert f"{1.5 * (math.sqrt(1 + 8 / 3) - 1):.2f} m" in conflict.message


def test_a_return_run_is_only_noted() -> None:
    open_side = sites.feature(LineString([(20, 40), (40, 40)]), id="shore")
    (conflict,) = _found("facing-runs", sites.loop_of(sites.loop_run(_notched(3.0))), open_sides=(open_side,))
    assert conflict.severity == "note"


def test_the_same_current_in_the_same_direction_does_not_cancel() -> None:
    outer = sites.loop_run(box(3, 3, 57, 37))
    inner = box(20, 6, 40, 20)
    same = sites.loop_run(inner, "K1", part="inner_loop", current=1.0)
    opposite = sites.loop_run(inner, "K1", part="inner_loop", current=-1.0)
    assert not _found("facing-runs", sites.loop_of(outer, same))
    (conflict,) = _found("facing-runs", sites.loop_of(outer, opposite))
    assert conflict.measured == pytest.approx(3.0)


def _neck(width_m: float) -> sites.Loop:
    """Two rooms joined by a corridor."""
    rooms = box(3, 3, 25, 37).union(box(35, 3, 57, 37)).union(box(20, 20 - width_m / 2, 40, 20 + width_m / 2))
    return sites.loop_of(sites.loop_run(sites.rounded(rooms)))


def _neck_width_m(draft: sites.Draft) -> float:
    """Free way across the corridor, by walking north along a row of meridians."""
    walks = [LineString([(x, 10), (x, 30)]) for x in np.linspace(26, 34, 161)]
    return min(float(shapely.intersection(walk, draft.zones.roam).length) for walk in walks)


def test_a_passage_of_the_width_holds_and_a_narrower_one_is_measured() -> None:
    widths = {}
    for corridor_m in (6.2, 6.5):
        draft = sites.draft(loop=_neck(corridor_m), settings=SETTINGS)
        widths[corridor_m] = _neck_width_m(draft)
        found = sites.found("narrow-passage", draft)
        if widths[corridor_m] >= 1.2:
            assert not found
        else:
            (conflict,) = found
            assert conflict.measured == pytest.approx(widths[corridor_m], abs=0.03)
            assert conflict.geometry.distance(Point(30, 20)) < 6
    assert 0 < widths[6.2] < 1.2 < widths[6.5]


def _necks(*ground: Polygon) -> list[float]:
    return [neck.width_m for neck in narrow_passages(ground, width_m=1.2)]


def test_a_neck_joins_two_places_and_a_dead_end_does_not() -> None:
    west, east = box(0, 0, 10, 10), box(13, 0, 23, 10)
    for width_m, expected in ((0.8, [0.8]), (1.3, [])):
        bridge = box(9, 5, 14, 5 + width_m)
        assert _necks(west.union(east).union(bridge)) == pytest.approx(expected, abs=0.01)
        assert not _necks(west.union(bridge.intersection(box(0, 0, 12, 10))))
    assert _necks(west.union(Polygon([(9, 4), (11.5, 5.1), (14, 4), (14, 7), (11.5, 5.6), (9, 7)])).union(east)) == (
        pytest.approx([0.5], abs=0.01)
    )


def test_a_dead_end_around_a_pillar_leads_nowhere() -> None:
    pillar = box(11.0, 5.4, 11.3, 5.7)
    assert not _necks(box(0, 0, 10, 10).union(box(9, 5, 13, 6.1)).difference(pillar))


def test_a_passage_between_house_and_signal_is_measured_too() -> None:
    loop = sites.loop_of(sites.loop_run(sites.rounded(box(3, 3, 57, 37))))
    draft = sites.draft(loop=loop, settings=SETTINGS)
    walk = LineString([(30, 3), (30, 20)])
    edge = float(shapely.bounds(walk.intersection(draft.zones.signal))[3])
    for gap_m, holds in ((1.5, True), (0.7, False)):
        house = sites.feature(box(25, edge + gap_m, 35, 25), id="house")
        found = _found("narrow-passage", loop, buildings=(house,))
        assert bool(found) is not holds
        assert all(conflict.measured == pytest.approx(gap_m, abs=0.03) for conflict in found)


def test_one_piece_of_free_ground_holds_and_a_pocket_is_told_with_its_area() -> None:
    assert not _found("roam-pocket", _neck(10.0))
    draft = sites.draft(loop=sites.loop_of(sites.loop_run(_unequal_rooms())), settings=SETTINGS)
    smaller, larger = sorted(part.area for part in shapely.get_parts(draft.zones.roam))
    assert smaller > 2
    (conflict,) = sites.found("roam-pocket", draft)
    assert conflict.measured == pytest.approx(smaller)
    assert conflict.measured < larger
    assert conflict.severity == "caution"


def _unequal_rooms() -> Polygon:
    return sites.rounded(box(3, 3, 25, 37).union(box(35, 12, 50, 28)).union(box(20, 17, 40, 23)))


def test_two_loops_each_have_their_own_free_ground() -> None:
    loops = sites.loop_of(sites.loop_run(box(3, 3, 25, 37)), sites.loop_run(box(35, 3, 57, 37), "L2"))
    assert not _found("roam-pocket", loops)
    assert not _found("no-roam", loops)


def test_a_small_square_is_all_signal() -> None:
    """In the plane of the wire a square is all signal up to a side of 4 sqrt(2) w."""
    settings = Settings(reach_m=2.0, receiver_height_m=0.0, burial_depth_m=0.0)
    largest_m = 4 * math.sqrt(2) * 2.0
    (conflict,) = _found(
        "no-roam",
        sites.loop_of(sites.loop_run(box(10, 10, 10 + largest_m - 0.1, 10 + largest_m - 0.1))),
        settings=settings,
    )
    assert conflict.severity == "must_fix"
    assert conflict.measured == 0
    assert not _found("no-roam", sites.loop_of(sites.loop_run(box(10, 10, 26, 26))), settings=settings)
