"""Marks: kind, age, quality, and whether a file of them says anything about the property."""

from __future__ import annotations

from dataclasses import replace

from shapely import LineString

from parcelfence.settings import Settings
from parcelfence.site.provenance import Provenance
from tests.rules import sites

LINE = LineString([(30, -5), (30, 20)])
FAR = LineString([(500, 0), (500, 50)])


def _found(rule: str, *utilities: sites.Utility, settings: Settings | None = None) -> tuple[sites.Conflict, ...]:
    return sites.found(rule, sites.draft(sites.site(utilities=utilities), settings=settings))


def test_known_kinds_hold_and_unknown_ones_are_gathered_by_their_words() -> None:
    assert not _found("utility-unknown", sites.utility(LINE))
    strange = [sites.utility(LINE, id=f"U{n}", kind="unknown", raw_kind="zzz") for n in range(3)]
    silent = sites.utility(LINE, id="V", kind="unknown")
    nothing, zzz = _found("utility-unknown", *strange, silent)
    assert (nothing.feature, zzz.feature) == ("V", "")
    assert "3 marks" in zzz.message
    assert "'zzz'" in zzz.message
    assert "the file says nothing" in nothing.message


def test_marks_far_from_property_and_wire_do_not_matter() -> None:
    assert not _found("utility-unknown", sites.utility(FAR, kind="unknown"))


def test_marks_are_as_old_as_the_calendar_says() -> None:
    settings = Settings(as_of="2024-05-22", mark_age_days_max=21)
    assert not _found("mark-age", sites.utility(LINE, marked_on="2024-05-01"), settings=settings)
    (conflict,) = _found("mark-age", sites.utility(LINE, marked_on="2024-04-30"), settings=settings)
    assert (conflict.measured, conflict.limit, conflict.unit) == (22.0, 21.0, "days")
    assert conflict.severity == "caution"


def test_leap_days_count_and_later_marks_are_told() -> None:
    settings = Settings(as_of="2024-03-10", mark_age_days_max=21)
    (conflict,) = _found("mark-age", sites.utility(LINE, marked_on="2024-02-17T08:00:00"), settings=settings)
    assert conflict.measured == 22.0
    (conflict,) = _found("mark-age", sites.utility(LINE, marked_on="2024-03-15"), settings=settings)
    assert conflict.measured == -5.0


def test_marks_without_a_date_are_a_note_and_without_a_day_nothing_is_reckoned() -> None:
    (conflict,) = _found("mark-age", sites.utility(LINE), settings=Settings(as_of="2024-05-22"))
    assert conflict.severity == "note"
    assert not _found("mark-age", sites.utility(LINE, marked_on="1999-01-01"))


def test_exposed_and_detected_marks_hold_records_do_not() -> None:
    for level, count in (("A", 0), ("B", 0), ("C", 1), ("D", 1), ("", 0)):
        found = _found("mark-quality", sites.utility(LINE, quality_level=level))
        assert len(found) == count
        assert all(f"quality level {level}" in conflict.message for conflict in found)


def test_lines_joined_from_points_are_told() -> None:
    (conflict,) = _found("mark-quality", sites.utility(LINE, inferred=True))
    assert "joined from single points" in conflict.message


def _elsewhere(*inputs: sites.InputRecord, **changes: object) -> tuple[sites.Conflict, ...]:
    place = replace(sites.site(**changes), provenance=Provenance(inputs=inputs))
    return sites.found("marks-elsewhere", sites.draft(place))


def test_a_file_of_marks_that_does_not_meet_the_property_is_told() -> None:
    used = sites.record(role="marks", name="here.geojson", features=7, used=2)
    unused = sites.record(role="marks", name="other.geojson", features=7, used=0)
    assert not _elsewhere(used)
    (conflict,) = _elsewhere(used, unused)
    assert conflict.feature == "other.geojson"
    assert "None of the 7 marks" in conflict.message


def test_a_site_without_marks_is_told() -> None:
    (conflict,) = _elsewhere(sites.record())
    assert "no locate marks" in conflict.message
    assert not _elsewhere(sites.record(), utilities=(sites.utility(LINE),))
