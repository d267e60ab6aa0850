"""The registry: order, third parties, remarks."""

from __future__ import annotations

import sys
from importlib.metadata import EntryPoint
from types import ModuleType
from typing import TYPE_CHECKING

import pytest
from shapely import LineString, Point, box

from parcelfence.conflict import SEVERITIES, Conflict
from parcelfence.rules import registry
from parcelfence.rules.registry import BUILT_IN, ThirdParty, find_conflicts, usable_rules
from parcelfence.rules.rule import Rule, rule
from tests.rules import sites

if TYPE_CHECKING:
    from collections.abc import Iterator

DESIGNED = {
    *("lot-line-wire", "lot-line-signal", "building-clearance", "building-signal", "door-blocked"),
    *("utility-angle", "utility-parallel", "utility-tolerance", "utility-unknown", "utility-coupling"),
    *("mark-age", "mark-quality", "sharp-bend", "facing-runs", "narrow-passage", "roam-pocket", "no-roam"),
    *("neighbour-signal", "easement-wire", "water-wire", "road-wire", "hardscape-cut"),
    *("unjoined-wire", "touching-runs"),
    *("transmitter-metal", "transmitter-place", "drive-limit", "area-limit", "short-warning"),
    *("coordinate-accuracy", "repaired-input"),
}


@rule("well-near", theme="water", severity="caution", summary="No wire within 3 m of the well.")
def well_near(draft: sites.Draft) -> Iterator[Conflict]:
    well = Point(10, 3)
    for run in draft.loop.runs:
        if run.line.distance(well) < 3:
            yield Conflict(message="The wire is near the well.", remedy="Move it.", geometry=well)


@rule("well-broken", theme="water", severity="caution", summary="Fails.")
def well_broken(draft: sites.Draft) -> Iterator[Conflict]:
    yield Conflict(message=str(1 / 0), remedy="", geometry=draft.site.parcel)


@pytest.fixture
def plugin(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    module = ModuleType("well_rules")
    module.near, module.broken, module.both, module.wrong = (
        well_near,
        well_broken,
        (well_near, well_broken),
        ("no rule",),
    )  # type: ignore[attr-defined]
    module.clash = Rule(id="lot-line-wire", theme="x", severity="note", summary="x", function=lambda _: ())  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "well_rules", module)
    return module


def _point(name: str, value: str) -> EntryPoint:
    return EntryPoint(name=name, value=value, group="parcelfence.rules")


def test_every_rule_of_the_design_is_there_once_and_says_what_it_is() -> None:
    ids = [own.id for own in BUILT_IN]
    assert len(ids) == len(set(ids))
    assert set(ids) >= DESIGNED
    assert all(own.summary.endswith(".") and own.theme and own.basis and own.severity in SEVERITIES for own in BUILT_IN)


def _busy() -> sites.Draft:
    loop = sites.loop_of(sites.loop_run(box(1, 3, 57, 37)), sites.lead_in((20, 20), (1, 20)), transmitter=Point(20, 20))
    lines = (LineString([(10, -2), (14, 8)]), LineString([(40, 3.5), (50, 3.5)]))
    marks = tuple(sites.utility(line, id=f"U{number}", kind="unknown") for number, line in enumerate(lines))
    return sites.draft(sites.site(utilities=marks), loop)


def test_the_gravest_come_first_and_twice_the_same() -> None:
    found = find_conflicts(_busy())
    keys = [
        (SEVERITIES.index(row.severity), row.station_m if row.station_m is not None else 1e9, row.rule) for row in found
    ]
    assert keys == sorted(keys)
    assert len({row.severity for row in found}) == 3
    assert [row.message for row in find_conflicts(_busy())] == [row.message for row in found]


def test_every_row_has_a_place_a_message_and_a_remedy() -> None:
    for row in find_conflicts(_busy()):
        assert not row.geometry.is_empty
        assert not row.message[0].islower()
        assert row.message.endswith(".")
        assert row.remedy


def test_rules_of_third_parties_are_found(plugin: ModuleType) -> None:
    assert usable_rules([_point("near", "well_rules:near")]).rules == (plugin.near,)
    assert usable_rules([_point("both", "well_rules:both")]).rules == plugin.both


@pytest.mark.parametrize(
    ("value", "reason"),
    [
        ("well_rules:clash", "taken by parcelfence, whose rule stays"),
        ("well_rules:wrong", "is not a Rule"),
        ("well_rules:gone", "cannot be loaded: AttributeError"),
        ("no_such_module:rule", "cannot be loaded: ModuleNotFoundError"),
    ],
)
def test_what_cannot_be_used_is_named_with_the_reason(plugin: ModuleType, value: str, reason: str) -> None:  # noqa: ARG001
    loaded = usable_rules([_point("theirs", value)])
    assert not loaded.rules
    ((name, why),) = loaded.troubles
    assert name.startswith("theirs of")
    assert reason in why


def test_of_two_third_parties_the_first_keeps_the_name(plugin: ModuleType) -> None:
    loaded = usable_rules([_point("b", "well_rules:near"), _point("a", "well_rules:near")])
    assert loaded.rules == (plugin.near,)
    assert loaded.troubles[0][0].startswith("b of")


def test_a_failing_rule_costs_only_itself(monkeypatch: pytest.MonkeyPatch) -> None:
    third = ThirdParty(rules=(well_near, well_broken), troubles=(("x of y", "it cannot be loaded"),))
    monkeypatch.setattr(registry, "third_party_rules", lambda: third)
    found = find_conflicts(_busy())
    assert [row.message for row in found if row.rule == "well-near"] == ["The wire is near the well."]
    notes = [row for row in found if row.rule == "third-party-rule"]
    assert [row.severity for row in notes] == ["note", "note"]
    assert "ZeroDivisionError" in "".join(row.message for row in notes)
    assert len(found) > 5


def _remark(**changes: object) -> Conflict:
    given = {
        "rule": "lot-line-wire",
        "severity": "must_fix",
        "message": "Said.",
        "remedy": "Do.",
        "geometry": Point(1, 20),
    }
    return Conflict(**(given | changes))


def test_remarks_become_rows_unless_a_rule_found_the_same_at_the_place() -> None:
    run = sites.loop_run(box(1, 3, 57, 37))

    def messages(*remarks: Conflict) -> list[str]:
        return [row.message for row in find_conflicts(sites.draft(loop=sites.loop_of(run, remarks=remarks)))]

    assert "Said." not in messages(_remark())
    assert "Said." in messages(_remark(geometry=Point(30, 20)))
    assert "Said." in messages(_remark(rule="utility-angle"))
    assert "Said." in messages(_remark(layer="parcel", feature="other"))


def test_a_remark_about_all_of_the_site_is_not_said_twice() -> None:
    remark = _remark(rule="transmitter-place", severity="note", geometry=Point(30, 20))
    loop = sites.loop_of(sites.loop_run(box(3, 3, 57, 37)), remarks=(remark,))
    rows = [row for row in find_conflicts(sites.draft(loop=loop)) if row.rule == "transmitter-place"]
    assert [row.message for row in rows] == ["Where the transmitter hangs is not known."]


def test_a_remark_keeps_its_figures_and_gets_a_station() -> None:
    run = sites.loop_run(box(1, 3, 57, 37))
    remark = _remark(rule="utility-angle", measured=12.0, limit=80.0, unit="deg", geometry=Point(30, 4))
    (row,) = [
        row
        for row in find_conflicts(sites.draft(loop=sites.loop_of(run, remarks=(remark,))))
        if row.rule == remark.rule
    ]
    assert (row.measured, row.limit, row.unit) == (12.0, 80.0, "deg")
    assert row.station_m == pytest.approx(run.line.project(Point(30, 3)))
