"""The survey foot in large coordinates, and areas on national grids.

Sources: NIST SP 811 for the two feet; the easting is that of the Lambert example of EPSG Guidance Note 7-2.  Areas are
those of the ring projected by PROJ 9.5 (computed), which the working frame must not reproduce but the grid must.
"""

from __future__ import annotations

import pytest
from pyproj import CRS
from shapely import Polygon, box

from parcelfence.circuit.circuit import circuit
from parcelfence.field.current import CurrentLoop
from parcelfence.site.frame import WGS84, LocalFrame
from parcelfence.units import FOOT_M, US_SURVEY_FOOT_M

LOTS = {
    "prague": (
        32633,
        [(14.4208, 50.088), (14.421230542, 50.088058879), (14.421358371, 50.087671949), (14.420859638, 50.087629703)],
        1436.9858391099551,
    ),
    "austin": (
        32614,
        [(-97.7431, 30.2672), (-97.742851091, 30.267158002), (-97.742972048, 30.266617853),
         (-97.743220956, 30.266659851)],
        1487.7480507013956,
    ),
    "minnesota": (
        32615,
        [(-93.26, 45.0), (-93.255966864, 44.999999929), (-93.255966864, 44.99713846), (-93.259999799, 44.997138389)],
        101046.66941302468,
    ),
    "equator": (
        32633,
        [(11.9995, 0.0004), (12.000398315, 0.0004), (12.000398315, -0.000956554), (11.9995, -0.000956554)],
        15029.440547324502,
    ),
}  # fmt: skip


def test_feet_confused_shift_a_coordinate_by_two_millionths() -> None:
    assert pytest.approx(1.8065555965519753, rel=1e-8) == 2963503.91 * (US_SURVEY_FOOT_M - FOOT_M)


@pytest.mark.parametrize("name", LOTS)
def test_a_chosen_grid_gives_the_area_on_that_grid(name: str) -> None:
    code, ring, area_m2 = LOTS[name]
    lot = Polygon(ring)
    frame = LocalFrame.on(CRS.from_epsg(code), lot, source_crs=WGS84)
    assert frame.conversion_from(WGS84, where="lot").geometry(lot).area == pytest.approx(area_m2, rel=1e-9)


@pytest.mark.parametrize(("share", "matters"), [(0.97, False), (1.1, True)])
def test_the_ground_matters_for_loops_wider_than_a_skin_depth(share: float, matters: bool) -> None:
    """sqrt(rho / (pi f mu0)) for soil of 100 ohm m at 10 kHz is 50.329 m; there the field has changed by a fifth."""
    loop = CurrentLoop.from_line(box(0, 0, 50.329212104487034 * share, 20).exterior)
    assert circuit([loop]).ground_matters is matters
