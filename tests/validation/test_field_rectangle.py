"""Square and rectangular loops, at the height of the wire.

Source: four finite straight wires (Griffiths, Introduction to Electrodynamics, chapter 5): f = 4 sqrt(2) w / a at the
centre of a square, 4 w sqrt(a^2 + b^2) / (a b) at that of a rectangle; reaches by root-finding on the closed form.
The zone covers all of a square up to the side 4 sqrt(2) w.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import brentq

from parcelfence.field.current import CurrentLoop, Receiver
from parcelfence.field.flux import normalised_field
from parcelfence.field.profile import reach_profiles
from parcelfence.field.setting import reach_for_wanted


def rectangle(width_m: float, length_m: float) -> CurrentLoop:
    return CurrentLoop(np.array([(0.0, 0.0), (length_m, 0.0), (length_m, width_m), (0.0, width_m)]))


def field(loop: CurrentLoop, x: float, y: float, *, w_m: float) -> float:
    return float(normalised_field([[x, y]], [loop], receiver=Receiver(w_m, 0.0))[0])


def reach(
    loop: CurrentLoop, start: tuple[float, float], *, way: tuple[float, float], w_m: float, most_m: float
) -> float:
    def excess(distance_m: float) -> float:
        return 1.0 / field(loop, start[0] + distance_m * way[0], start[1] + distance_m * way[1], w_m=w_m) - 1.0

    return float(brentq(excess, 1e-3, most_m, xtol=1e-13))


@pytest.mark.parametrize(
    ("w_m", "side_m", "expected"),
    [
        pytest.param(1.0, 5.0, 1.131370849898476, id="A4-square5-centre-w1"),
        pytest.param(1.0, 10.0, 0.565685424949238, id="A4-square10-centre-w1"),
        pytest.param(3.66, 10.0, 2.0704086553142114, id="A4-square10-centre-w3p66"),
        pytest.param(1.0, 20.0, 0.282842712474619, id="A4-square20-centre-w1"),
        pytest.param(2.0, 20.0, 0.565685424949238, id="A4-square20-centre-w2"),
        pytest.param(3.66, 20.0, 1.0352043276571057, id="A4-square20-centre-w3p66"),
        pytest.param(2.0, 50.0, 0.2262741699796952, id="A4-square50-centre-w2"),
        pytest.param(3.66, 50.0, 0.41408173106284224, id="A4-square50-centre-w3p66"),
        pytest.param(1.0, 100.0, 0.0565685424949238, id="A4-square100-centre-w1"),
        pytest.param(2.0, 100.0, 0.1131370849898476, id="A4-square100-centre-w2"),
    ],
)
def test_centre_of_a_square(w_m: float, side_m: float, expected: float) -> None:
    assert field(rectangle(side_m, side_m), side_m / 2.0, side_m / 2.0, w_m=w_m) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(
    ("w_m", "side_m", "expected"),
    [
        pytest.param(1.0, 20.0, 1.1348634043315489, id="A4-square20-midside-in-w1"),
        pytest.param(1.0, 50.0, 1.0479461087541653, id="A4-square50-midside-in-w1"),
        pytest.param(3.66, 50.0, 4.463295789032485, id="A4-square50-midside-in-w3p66"),
        pytest.param(1.0, 100.0, 1.023134822833026, id="A4-square100-midside-in-w1"),
        pytest.param(2.0, 100.0, 2.0958922175083305, id="A4-square100-midside-in-w2"),
        pytest.param(3.66, 100.0, 4.0020054627189765, id="A4-square100-midside-in-w3p66"),
    ],
)
def test_inward_at_the_middle_of_a_side(w_m: float, side_m: float, expected: float) -> None:
    loop = rectangle(side_m, side_m)
    found = reach(loop, (side_m / 2.0, 0.0), way=(0.0, 1.0), w_m=w_m, most_m=side_m / 2.0)
    assert found == pytest.approx(expected, rel=1e-7)
    profile = reach_profiles([loop], Receiver(w_m, 0.0), interval_m=side_m / 2.0)[0]
    assert profile.reach_inside_m[1] == pytest.approx(expected, abs=2e-6)


@pytest.mark.parametrize(
    ("w_m", "side_m", "expected"),
    [
        pytest.param(1.0, 5.0, 0.7248152375467547, id="A4-square5-midside-out-w1"),
        pytest.param(2.0, 5.0, 1.1888674486872555, id="A4-square5-midside-out-w2"),
        pytest.param(2.0, 10.0, 1.4496304750935094, id="A4-square10-midside-out-w2"),
        pytest.param(2.0, 20.0, 1.661429949177616, id="A4-square20-midside-out-w2"),
        pytest.param(1.0, 50.0, 0.9580486658272936, id="A4-square50-midside-out-w1"),
        pytest.param(2.0, 50.0, 1.841835468602853, id="A4-square50-midside-out-w2"),
        pytest.param(3.66, 50.0, 3.1756739583675415, id="A4-square50-midside-out-w3p66"),
        pytest.param(1.0, 100.0, 0.9783569194909606, id="A4-square100-midside-out-w1"),
        pytest.param(2.0, 100.0, 1.9160973316545873, id="A4-square100-midside-out-w2"),
        pytest.param(3.66, 100.0, 3.392565418223539, id="A4-square100-midside-out-w3p66"),
    ],
)
def test_outward_at_the_middle_of_a_side(w_m: float, side_m: float, expected: float) -> None:
    loop = rectangle(side_m, side_m)
    found = reach(loop, (side_m / 2.0, 0.0), way=(0.0, -1.0), w_m=w_m, most_m=10.0)
    assert found == pytest.approx(expected, rel=1e-7)
    profile = reach_profiles([loop], Receiver(w_m, 0.0), interval_m=side_m / 2.0)[0]
    assert profile.reach_outside_m[1] == pytest.approx(expected, abs=2e-6)


@pytest.mark.parametrize(
    ("w_m", "side_m", "expected"),
    [
        pytest.param(1.0, 10.0, 2.687193835856495, id="A4-square10-corner-in-w1"),
        pytest.param(1.0, 50.0, 2.451032464058634, id="A4-square50-corner-in-w1"),
        pytest.param(2.0, 50.0, 4.988363792790846, id="A4-square50-corner-in-w2"),
        pytest.param(1.0, 100.0, 2.431927238298224, id="A4-square100-corner-in-w1"),
        pytest.param(2.0, 100.0, 4.902064928117268, id="A4-square100-corner-in-w2"),
        pytest.param(3.66, 100.0, 9.099951232091753, id="A4-square100-corner-in-w3p66"),
    ],
)
def test_inward_on_the_diagonal(w_m: float, side_m: float, expected: float) -> None:
    way = (math.sqrt(0.5), math.sqrt(0.5))
    found = reach(rectangle(side_m, side_m), (0.0, 0.0), way=way, w_m=w_m, most_m=side_m / math.sqrt(2.0))
    assert found == pytest.approx(expected, rel=1e-7)


@pytest.mark.parametrize(
    ("w_m", "side_m", "expected"),
    [
        pytest.param(2.0, 5.0, 0.6666031323290491, id="A4-square5-corner-out-w2"),
        pytest.param(3.66, 5.0, 1.07720329759201, id="A4-square5-corner-out-w3p66"),
        pytest.param(1.0, 10.0, 0.38801367527245484, id="A4-square10-corner-out-w1"),
        pytest.param(3.66, 10.0, 1.238131327922362, id="A4-square10-corner-out-w3p66"),
        pytest.param(1.0, 20.0, 0.4003928961009209, id="A4-square20-corner-out-w1"),
        pytest.param(2.0, 20.0, 0.7760273505449097, id="A4-square20-corner-out-w2"),
        pytest.param(3.66, 20.0, 1.3541945805347664, id="A4-square20-corner-out-w3p66"),
        pytest.param(1.0, 50.0, 0.40849310708615316, id="A4-square50-corner-out-w1"),
        pytest.param(3.66, 50.0, 1.443820720948453, id="A4-square50-corner-out-w3p66"),
        pytest.param(1.0, 100.0, 0.41131947601143226, id="A4-square100-corner-out-w1"),
    ],
)
def test_outward_on_the_diagonal(w_m: float, side_m: float, expected: float) -> None:
    way = (-math.sqrt(0.5), -math.sqrt(0.5))
    found = reach(rectangle(side_m, side_m), (0.0, 0.0), way=way, w_m=w_m, most_m=10.0)
    assert found == pytest.approx(expected, rel=1e-7)


@pytest.mark.parametrize(
    ("w_m", "side_m", "expected"),
    [
        pytest.param(3.66, 5.0, True, id="A4-square5-interior-w3p66"),
        pytest.param(2.0, 10.0, True, id="A4-square10-interior-w2"),
        pytest.param(3.66, 10.0, True, id="A4-square10-interior-w3p66"),
        pytest.param(3.66, 20.0, True, id="A4-square20-interior-w3p66"),
    ],
)
def test_all_of_a_small_square_reacts(w_m: float, side_m: float, *, expected: bool) -> None:
    grid = np.stack(np.meshgrid(*[np.linspace(0.0, side_m, 121)] * 2), axis=-1).reshape(-1, 2)
    found = normalised_field(grid, [rectangle(side_m, side_m)], receiver=Receiver(w_m, 0.0))
    assert bool((found >= 1.0).all()) is expected


@pytest.mark.parametrize(
    ("w_m", "expected"),
    [
        pytest.param(1.0, 5.656854249492381, id="A4-square-critical-side-w1"),
        pytest.param(2.0, 11.313708498984761, id="A4-square-critical-side-w2"),
        pytest.param(3.66, 20.704086553142112, id="A4-square-critical-side-w3p66"),
    ],
)
def test_largest_square_that_reacts_throughout(w_m: float, expected: float) -> None:
    found = brentq(lambda a: field(rectangle(a, a), a / 2.0, a / 2.0, w_m=w_m) - 1.0, w_m, 20.0 * w_m, xtol=1e-13)
    assert found == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(
    ("w_m", "width_m", "length_m", "expected"),
    [
        pytest.param(1.0, 10.0, 20.0, 0.4472135954999579, id="A4-rect10x20-centre-w1"),
        pytest.param(1.0, 20.0, 40.0, 0.22360679774997896, id="A4-rect20x40-centre-w1"),
        pytest.param(2.0, 20.0, 40.0, 0.4472135954999579, id="A4-rect20x40-centre-w2"),
        pytest.param(3.66, 20.0, 40.0, 0.818400879764923, id="A4-rect20x40-centre-w3p66"),
        pytest.param(1.0, 15.0, 60.0, 0.2748737083745107, id="A4-rect15x60-centre-w1"),
        pytest.param(2.0, 15.0, 60.0, 0.5497474167490214, id="A4-rect15x60-centre-w2"),
        pytest.param(2.0, 50.0, 150.0, 0.16865480854231357, id="A4-rect50x150-centre-w2"),
        pytest.param(3.66, 50.0, 150.0, 0.30863829963243383, id="A4-rect50x150-centre-w3p66"),
    ],
)
def test_centre_of_a_rectangle(w_m: float, width_m: float, length_m: float, expected: float) -> None:
    found = field(rectangle(width_m, length_m), length_m / 2.0, width_m / 2.0, w_m=w_m)
    assert found == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(
    ("w_m", "width_m", "length_m", "expected"),
    [
        pytest.param(1.0, 10.0, 20.0, 1.186452980466263, id="A4-rect10x20-long-in-w1"),
        pytest.param(2.0, 10.0, 20.0, 3.2821100727016392, id="A4-rect10x20-long-in-w2"),
        pytest.param(1.0, 20.0, 40.0, 1.0800372195643035, id="A4-rect20x40-long-in-w1"),
        pytest.param(2.0, 20.0, 40.0, 2.372905960932526, id="A4-rect20x40-long-in-w2"),
        pytest.param(1.0, 15.0, 60.0, 1.0867568186370975, id="A4-rect15x60-long-in-w1"),
        pytest.param(2.0, 15.0, 60.0, 2.424649277370373, id="A4-rect15x60-long-in-w2"),
        pytest.param(2.0, 50.0, 150.0, 2.1050872110793164, id="A4-rect50x150-long-in-w2"),
    ],
)
def test_inward_at_the_long_side(w_m: float, width_m: float, length_m: float, expected: float) -> None:
    loop = rectangle(width_m, length_m)
    found = reach(loop, (length_m / 2.0, 0.0), way=(0.0, 1.0), w_m=w_m, most_m=width_m / 2.0)
    assert found == pytest.approx(expected, rel=1e-7)


@pytest.mark.parametrize(
    ("w_m", "width_m", "length_m", "expected"),
    [
        pytest.param(1.0, 20.0, 40.0, 0.9363490992317169, id="A4-rect20x40-long-out-w1"),
        pytest.param(2.0, 20.0, 40.0, 1.7677374609281065, id="A4-rect20x40-long-out-w2"),
        pytest.param(3.66, 20.0, 40.0, 2.977880105732597, id="A4-rect20x40-long-out-w3p66"),
        pytest.param(1.0, 15.0, 60.0, 0.9341056886881152, id="A4-rect15x60-long-out-w1"),
        pytest.param(2.0, 15.0, 60.0, 1.7625513204374117, id="A4-rect15x60-long-out-w2"),
        pytest.param(3.66, 15.0, 60.0, 2.9723109372833476, id="A4-rect15x60-long-out-w3p66"),
        pytest.param(1.0, 50.0, 150.0, 0.9769133657529115, id="A4-rect50x150-long-out-w1"),
        pytest.param(2.0, 50.0, 150.0, 1.9111028223240223, id="A4-rect50x150-long-out-w2"),
    ],
)
def test_outward_at_the_long_side(w_m: float, width_m: float, length_m: float, expected: float) -> None:
    loop = rectangle(width_m, length_m)
    found = reach(loop, (length_m / 2.0, 0.0), way=(0.0, -1.0), w_m=w_m, most_m=10.0)
    assert found == pytest.approx(expected, rel=1e-7)


@pytest.mark.parametrize(
    ("w_m", "width_m", "length_m", "expected"),
    [
        pytest.param(2.0, 10.0, 20.0, 4.778040232264215, id="A4-rect10x20-short-in-w2"),
        pytest.param(1.0, 20.0, 40.0, 1.122143259556999, id="A4-rect20x40-short-in-w1"),
        pytest.param(2.0, 20.0, 40.0, 2.6064205617463987, id="A4-rect20x40-short-in-w2"),
        pytest.param(3.66, 20.0, 40.0, 7.364555772723323, id="A4-rect20x40-short-in-w3p66"),
        pytest.param(1.0, 15.0, 60.0, 1.1692395931839654, id="A4-rect15x60-short-in-w1"),
        pytest.param(2.0, 15.0, 60.0, 2.9382927968170467, id="A4-rect15x60-short-in-w2"),
        pytest.param(2.0, 50.0, 150.0, 2.184897663932538, id="A4-rect50x150-short-in-w2"),
    ],
)
def test_inward_at_the_short_side(w_m: float, width_m: float, length_m: float, expected: float) -> None:
    loop = rectangle(width_m, length_m)
    found = reach(loop, (0.0, width_m / 2.0), way=(1.0, 0.0), w_m=w_m, most_m=length_m / 2.0)
    assert found == pytest.approx(expected, rel=1e-7)


@pytest.mark.parametrize(
    ("w_m", "width_m", "length_m", "expected"),
    [
        pytest.param(1.0, 10.0, 20.0, 0.8410632080398946, id="A4-rect10x20-short-out-w1"),
        pytest.param(2.0, 10.0, 20.0, 1.4784176762298917, id="A4-rect10x20-short-out-w2"),
        pytest.param(3.66, 10.0, 20.0, 2.302263535716429, id="A4-rect10x20-short-out-w3p66"),
        pytest.param(1.0, 20.0, 40.0, 0.9104139510580016, id="A4-rect20x40-short-out-w1"),
        pytest.param(2.0, 20.0, 40.0, 1.6821264160797893, id="A4-rect20x40-short-out-w2"),
        pytest.param(2.0, 15.0, 60.0, 1.6125236647658119, id="A4-rect15x60-short-out-w2"),
        pytest.param(1.0, 50.0, 150.0, 0.9617459052944508, id="A4-rect50x150-short-out-w1"),
        pytest.param(3.66, 50.0, 150.0, 3.213441751062171, id="A4-rect50x150-short-out-w3p66"),
    ],
)
def test_outward_at_the_short_side(w_m: float, width_m: float, length_m: float, expected: float) -> None:
    loop = rectangle(width_m, length_m)
    found = reach(loop, (0.0, width_m / 2.0), way=(-1.0, 0.0), w_m=w_m, most_m=10.0)
    assert found == pytest.approx(expected, rel=1e-7)


@pytest.mark.parametrize(
    ("side_m", "reach_m", "expected"),
    [
        pytest.param(36.72808381606642, 3.6576, 2.9320343726035656, id="A8-w-for-inward-36p7281-r3p6576"),
        pytest.param(36.72808381606642, 2.0, 1.7713052722395326, id="A8-w-for-inward-36p7281-r2"),
        pytest.param(25.0, 3.0, 2.2998528107945138, id="A8-w-for-inward-25-r3"),
    ],
)
def test_setting_for_a_reach_seen_from_inside(side_m: float, reach_m: float, expected: float) -> None:
    found = reach_for_wanted(rectangle(side_m, side_m), reach_m, seen_from="inside", height_m=0.0)
    assert found == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(
    ("side_m", "reach_m", "expected"),
    [
        pytest.param(36.72808381606642, 3.6576, 4.56717217848403, id="A8-w-for-outward-36p7281-r3p6576"),
        pytest.param(36.72808381606642, 2.0, 2.2589144344145846, id="A8-w-for-outward-36p7281-r2"),
        pytest.param(25.0, 3.0, 3.9186650091922512, id="A8-w-for-outward-25-r3"),
    ],
)
def test_setting_for_a_reach_seen_from_outside(side_m: float, reach_m: float, expected: float) -> None:
    found = reach_for_wanted(rectangle(side_m, side_m), reach_m, seen_from="outside", height_m=0.0)
    assert found == pytest.approx(expected, rel=1e-9)
