"""Warning times."""

from __future__ import annotations

import numpy as np
import pytest

from parcelfence.field.current import CurrentLoop, Receiver
from parcelfence.field.warning import reach_for_warning_m, warning_time_s, warning_times_s

SQUARE = CurrentLoop(np.array([(0.0, 0.0), (50.0, 0.0), (50.0, 50.0), (0.0, 50.0)]))


def test_beside_a_straight_wire() -> None:
    assert warning_time_s(Receiver(2.0, core_ratio=0.6), speed_m_per_s=4.0) == pytest.approx(0.2)


@pytest.mark.parametrize("core_ratio", [0.3, 0.6, 0.9])
def test_reach_for_a_wanted_time_goes_back_and_forth(core_ratio: float) -> None:
    reach_m = reach_for_warning_m(0.5, speed_m_per_s=3.0, core_ratio=core_ratio)
    assert warning_time_s(Receiver(reach_m, core_ratio=core_ratio), speed_m_per_s=3.0) == pytest.approx(0.5)


def test_along_a_real_loop_corners_warn_longer() -> None:
    receiver = Receiver(2.0)
    (times_s,) = warning_times_s([SQUARE], receiver, speed_m_per_s=4.0)
    straight_s = warning_time_s(receiver, speed_m_per_s=4.0)
    assert times_s.max() == pytest.approx(times_s[0])
    assert times_s[0] > 2.0 * straight_s
    assert times_s.min() == pytest.approx(straight_s, rel=0.2)
    assert times_s.min() > straight_s


def test_no_free_ground_no_warning() -> None:
    (times_s,) = warning_times_s([CurrentLoop(SQUARE.coordinates / 10.0)], Receiver(2.0), speed_m_per_s=4.0)
    assert np.isinf(times_s).all()
