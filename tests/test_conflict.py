"""The one order of conflicts, and how they are counted."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st
from shapely import Point

from parcelfence.conflict import SEVERITIES, Conflict, count_severities, in_order, severity_tally

_STATIONS = st.none() | st.floats(0, 100)
_CONFLICTS = st.builds(
    Conflict,
    message=st.text(max_size=3),
    remedy=st.just(""),
    geometry=st.just(Point(0, 0)),
    rule=st.sampled_from(["a", "b"]),
    severity=st.sampled_from(SEVERITIES),
    station_m=_STATIONS,
)


@given(st.lists(_CONFLICTS, max_size=8), st.randoms())
def test_the_order_does_not_depend_on_the_order_in_which_they_were_found(
    conflicts: list[Conflict], random: object
) -> None:
    shuffled = list(conflicts)
    random.shuffle(shuffled)  # type: ignore[attr-defined]
    assert in_order(shuffled) == in_order(conflicts)
    ranks = [SEVERITIES.index(conflict.severity) for conflict in in_order(conflicts)]
    assert ranks == sorted(ranks)


def test_within_a_severity_a_person_walks_along_the_wire() -> None:
    def found(station_m: float | None, rule: str) -> Conflict:
        return Conflict(message="", remedy="", geometry=Point(0, 0), rule=rule, severity="caution", station_m=station_m)

    ordered = in_order([found(None, "a"), found(30.0, "a"), found(10.0, "b")])
    assert [row.station_m for row in ordered] == [10.0, 30.0, None]


def test_the_tally_names_what_there_is() -> None:
    def found(*severities: str) -> list[Conflict]:
        return [Conflict(message="", remedy="", geometry=Point(0, 0), severity=name) for name in severities]  # type: ignore[arg-type]

    assert severity_tally(found("caution", "must_fix", "caution")) == "1 must be fixed, 2 cautions"
    assert severity_tally([]) == "0 must be fixed"
    assert count_severities(found("note")) == {"must_fix": 0, "caution": 0, "note": 1}
