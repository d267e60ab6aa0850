"""Values of the trade against closed forms.

Basis of each group: what is a usual quantity (flag spacing, twists per foot, a kit of 500 ft for a third of an acre) is
common practice, no source; perimeters, counts and the helix of a twist are derived, as said beside them.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from pyproj import CRS
from shapely import LineString, MultiPolygon, Point, Polygon, affinity, box

from parcelfence.circuit.conductor import gauge_diameter_m
from parcelfence.circuit.twisted_pair import lay_m, take_up_factor
from parcelfence.field.current import Receiver
from parcelfence.field.zones import Zones
from parcelfence.layout.loop import Loop, Run, Transmitter
from parcelfence.settings import Settings
from parcelfence.site.frame import LocalFrame
from parcelfence.site.provenance import Provenance
from parcelfence.site.site import Site
from parcelfence.takeoff.flags import flags
from parcelfence.takeoff.materials import spool_remark
from parcelfence.takeoff.sequence import conductor_per_metre, sequence
from parcelfence.units import ACRE_M2, FOOT_M, parse_length_m

KIT_M = parse_length_m("500 ft")


def rectangle(acres: float, *, aspect: float = 1.0) -> Polygon:
    short_m = math.sqrt(acres * ACRE_M2 / aspect)
    return box(0, 0, aspect * short_m, short_m)


def circle(perimeter_m: float) -> Polygon:
    """Polygon of many sides with exactly that perimeter."""
    drawn = Point(0, 0).buffer(perimeter_m / (2 * math.pi), quad_segs=64)
    return affinity.scale(drawn, *[perimeter_m / drawn.length] * 2, origin=(0, 0))


def loop(area: Polygon, *, lead_in_m: float = 0.0) -> Loop:
    line = LineString(area.exterior.coords)
    x, y = line.coords[0]
    outer = Run(part="loop", loop_id="L1", line=line, current=1.0)
    if not lead_in_m:
        return Loop(runs=(outer,), transmitter=None, allowed=MultiPolygon([area]))
    start = Point(x + lead_in_m, y)
    feed = Run(part="lead_in", loop_id="T1", line=LineString([start, (x, y)]), current=0.0)
    hung = Transmitter(point=start, given=True, note="")
    return Loop(runs=(outer, feed), transmitter=hung, allowed=MultiPolygon([area]))


def site(area: Polygon) -> Site:
    return Site(
        name="test",
        parcel_id="1",
        parcel=area,
        frame=LocalFrame.around(Point(-76.2, 42.7).buffer(0.001), CRS.from_epsg(4326)),
        provenance=Provenance(inputs=()),
    )


@pytest.mark.parametrize(
    ("acres", "aspect", "perimeter_ft"),
    [
        pytest.param(1 / 3, 1.0, 481.9958506045462, id="E1-third-acre-perimeter-ft"),
        pytest.param(1 / 3, 1.5, 491.9349550499537, id="E1-third-acre-rect-1p5"),
        pytest.param(1 / 3, 2.0, 511.23380169937906, id="E1-third-acre-rect-2"),
        pytest.param(1 / 3, 3.0, 556.5608681896348, id="E1-third-acre-rect-3"),
        pytest.param(1 / 3, 4.0, 602.4948132556827, id="E1-third-acre-rect-4"),
        pytest.param(1.0, 1.0, 834.8413022844521, id="E2-square-1p0acre"),
        pytest.param(5.0, 1.0, 1866.7619023324855, id="E2-square-5p0acre"),
        pytest.param(10.0, 1.0, 2640.0, id="E2-square-10p0acre"),
        pytest.param(25.0, 1.0, 4174.2065114222605, id="E2-25acre-perimeter-ft"),
    ],
)
def test_length_and_spools_of_a_loop_on_the_lot_line(acres: float, aspect: float, perimeter_ft: float) -> None:
    """Derived: perimeter 2 (1 + a) sqrt(A / a); spools are that over 500 ft, rounded up (kit: common practice)."""
    area = rectangle(acres, aspect=aspect)
    done = sequence(loop(area), site(area), settings=Settings(slack_percent=0, spool_length_m=KIT_M), crossings=())
    assert done.legs[0].ground_length_m / FOOT_M == pytest.approx(perimeter_ft, rel=1e-9)
    assert done.conductor_length_m / FOOT_M == pytest.approx(perimeter_ft, rel=1e-9)
    assert done.spools == math.ceil(perimeter_ft / 500)
    assert done.joints == done.spools - 1


def test_a_kit_of_500_ft_round_a_third_of_an_acre() -> None:
    """Derived from the kit (common practice): 500 ft - 481.996 ft = 18.004 ft, under 9 ft of pair."""
    area = rectangle(1 / 3)
    settings = Settings.from_words({"slack_percent": 0, "spool_length": "500 ft", "units": "us"})
    bare = sequence(loop(area), site(area), settings=settings, crossings=())
    assert (KIT_M - bare.conductor_length_m) / FOOT_M == pytest.approx(18.004149395453794, rel=1e-9)
    assert (KIT_M - bare.conductor_length_m) / conductor_per_metre(settings, twisted=True) / FOOT_M < 9
    assert spool_remark(bare, settings).startswith(
        "One spool of 500 ft leaves 18 ft beyond the loops for lead-in and slack: under 9 ft of twisted pair if "
        "nothing is kept for slack."
    )


@pytest.mark.parametrize(("lead_in_ft", "slack_percent", "spools"), [(8.0, 0.0, 1), (9.0, 0.0, 2), (8.0, 2.0, 2)])
def test_the_kit_yields_a_lead_in_under_9_ft_and_no_slack(lead_in_ft: float, slack_percent: float, spools: int) -> None:
    area = rectangle(1 / 3)
    settings = Settings.from_words({"slack_percent": slack_percent, "spool_length": "500 ft", "units": "us"})
    done = sequence(loop(area, lead_in_m=lead_in_ft * FOOT_M), site(area), settings=settings, crossings=())
    assert done.spools == spools
    assert ("It is enough" in spool_remark(done, settings)) == (spools == 1)


def test_longest_rectangle_of_a_third_of_an_acre_within_the_kit() -> None:
    """Derived: (1 + a) / sqrt(a) = 500 ft / (2 sqrt(A)) gives a = 1.72454."""
    limit = 1.7245444262601446
    for aspect, spools in ((limit - 1e-6, 1), (limit + 1e-6, 2)):
        area = rectangle(1 / 3, aspect=aspect)
        done = sequence(loop(area), site(area), settings=Settings(slack_percent=0, spool_length_m=KIT_M), crossings=())
        assert done.spools == spools


@pytest.mark.parametrize(
    ("area", "acres"),
    [
        pytest.param(box(0, 0, KIT_M / 4, KIT_M / 4), 0.3587006427915519, id="E1-500ft-square-acre"),
        pytest.param(circle(KIT_M), 0.45671184312412577, id="E1-500ft-circle-acre"),
    ],
)
def test_one_spool_encloses(area: Polygon, acres: float) -> None:
    """Derived: (P / 4)^2 of a square, P^2 / (4 pi) of a circle (drawn with 256 chords: 5e-5 short)."""
    done = sequence(loop(area), site(area), settings=Settings(slack_percent=0, spool_length_m=KIT_M), crossings=())
    assert done.spools == 1
    assert Polygon(done.legs[0].line).area / ACRE_M2 == pytest.approx(acres, rel=1e-4)


@pytest.mark.parametrize("shape", ["square", "circle"])
@pytest.mark.parametrize(
    ("perimeter_ft", "spacing_ft", "count"),
    [
        pytest.param(481.9958506045462, 10.0, 49, id="E5-flags-482ft-10ft"),
        pytest.param(500.0, 8.0, 63, id="E5-flags-500ft-8ft"),
        pytest.param(1000.0, 9.0, 112, id="E5-flags-1000ft-9ft"),
        pytest.param(4174.2065114222605, 10.0, 418, id="E5-flags-4174ft-10ft"),
    ],
)
def test_flags_on_a_closed_edge(shape: str, perimeter_ft: float, spacing_ft: float, count: int) -> None:
    """Derived: perimeter over spacing, rounded up; 8 to 10 ft is common practice, no source."""
    side_m = perimeter_ft * FOOT_M / 4
    roam = box(0, 0, side_m, side_m) if shape == "square" else circle(perimeter_ft * FOOT_M)
    outer = roam.buffer(2.0, join_style="mitre")
    zones = Zones(
        signal=MultiPolygon([outer.buffer(2.0).difference(roam)]),
        core=MultiPolygon(),
        roam=MultiPolygon([roam]),
        receiver=Receiver(2.0, 0.3, 0.6),
    )
    settings = Settings(flag_spacing_max_m=spacing_ft * FOOT_M, flag_spacing_min_m=7 * FOOT_M)
    placed = flags(zones, loop(outer), settings=settings)
    assert len(placed) == count
    along = np.sort([roam.exterior.project(flag.point) for flag in placed])
    gaps = np.diff(np.append(along, along[0] + roam.exterior.length))
    assert gaps.max() <= spacing_ft * FOOT_M + 1e-6
    assert gaps.min() == pytest.approx(roam.exterior.length / count)


@pytest.mark.parametrize(
    ("outer_diameter_mm", "twists_per_foot", "factor"),
    [
        (2.0, 6, 1.00761993),
        (2.0, 8, 1.01350693),
        (2.0, 10, 1.02102606),
        (2.0, 12, 1.03014158),
        (2.5, 6, 1.01188092),
        (2.5, 8, 1.02102606),
        (2.5, 10, 1.0326651),
        (3.2, 6, 1.01939328),
        (3.2, 10, 1.05298869),
        (4.0, 6, 1.03014158),
        (4.0, 8, 1.05298869),
        (4.0, 10, 1.08165469),
        (4.0, 12, 1.11569112),
    ],
)
def test_a_lead_in_takes_twice_its_length_times_the_twist(
    outer_diameter_mm: float, twists_per_foot: float, factor: float
) -> None:
    """Derived: each core is a helix, sqrt(1 + (pi d / lay)^2); both cores count."""
    jacket_m = (outer_diameter_mm * 1e-3 - gauge_diameter_m(18)) / 2
    settings = Settings(twists_per_foot=twists_per_foot, insulation_thickness_m=jacket_m, slack_percent=0)
    area = rectangle(1 / 3)
    lead_in = sequence(loop(area, lead_in_m=12.0), site(area), settings=settings, crossings=()).legs[0]
    assert lead_in.conductor_length_m == pytest.approx(2 * 12 * factor, rel=1e-8)
    assert take_up_factor(outer_diameter_mm * 1e-3, twists_per_foot=twists_per_foot) == pytest.approx(factor, rel=1e-8)


@pytest.mark.parametrize(("twists_per_foot", "lay_mm"), [(10, 30.48), (11, 27.70909090909091), (12, 25.4)])
def test_lay_of_the_twist(twists_per_foot: float, lay_mm: float) -> None:
    """Derived: one foot over the twists; 10 to 12 of them is common practice, no source."""
    assert lay_m(twists_per_foot) * 1e3 == pytest.approx(lay_mm, rel=1e-12)


def test_defaults_lie_within_common_practice() -> None:
    """Common practice, no source: the ranges of the trade in feet and inches."""
    settings = Settings()
    assert parse_length_m("1 in") <= settings.burial_depth_m <= parse_length_m("3 in")
    assert parse_length_m("2 ft") <= settings.reach_m <= parse_length_m("12 ft")
    assert parse_length_m("3 ft") - 0.02 <= settings.transmitter_metal_clearance_m
    assert settings.flag_spacing_min_m == pytest.approx(parse_length_m("8 ft"), rel=0.02)
    assert parse_length_m("9 ft") <= settings.flag_spacing_max_m <= parse_length_m("10 ft")
    assert 10 <= settings.twists_per_foot <= 12
    assert settings.spool_length_m == pytest.approx(KIT_M)
