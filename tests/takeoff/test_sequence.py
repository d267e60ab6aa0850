"""The wiring sequence: replayed from its own table, as a person with the sheet would do it."""

from __future__ import annotations

import re
from itertools import pairwise
from operator import itemgetter
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyproj import CRS
from shapely import LineString, MultiPolygon, Point, box

from parcelfence.inputs.source import ElevationSource
from parcelfence.layout.crossing import crossings
from parcelfence.layout.design import design
from parcelfence.layout.loop import Loop, Part, Run, Transmitter
from parcelfence.settings import Settings
from parcelfence.site.feature import Feature, Utility
from parcelfence.site.frame import LocalFrame
from parcelfence.site.provenance import Provenance
from parcelfence.site.reading import on_terrain, read_site
from parcelfence.site.site import Site
from parcelfence.takeoff.sequence import sequence
from tests.rasters import plane, raster

if TYPE_CHECKING:
    from parcelfence.takeoff.leg import Leg, Sequence, Splice

HOUSE = Point(20, 20)
OUTER = LineString([(40, 20), (40, 40), (0, 40), (0, 0), (40, 0), (40, 20)])


def site(*, utilities: tuple[Utility, ...] = (), hardscape: tuple[Feature, ...] = ()) -> Site:
    return Site(
        name="test",
        parcel_id="1",
        parcel=box(-10, -10, 50, 50),
        frame=LocalFrame.around(Point(-76.2, 42.7).buffer(0.001), CRS.from_epsg(4326)),
        provenance=Provenance(inputs=()),
        utilities=utilities,
        hardscape=hardscape,
    )


def gas(x: float) -> Utility:
    line = LineString([(x, -5), (x, 45)])
    return Utility(id="g", kind="gas", source_id="m", geometry=line, apwa_color="yellow", tolerance_m=0.6)


def run(part: Part, loop_id: str, *xy: tuple[float, float], current: float = 1.0) -> Run:
    return Run(part=part, loop_id=loop_id, line=LineString(xy), current=0.0 if part == "lead_in" else current)


def ring(x: float, y: float, *, loop_id: str = "K1", current: float = 1.0) -> Run:
    """Inner loop that begins at a point and lies above it."""
    corners = ((x, y), (x - 2, y), (x - 2, y + 4), (x + 2, y + 4), (x + 2, y), (x, y))
    return run("inner_loop", loop_id, *corners, current=current)


def loop(*runs: Run, transmitter: Point | None = HOUSE) -> Loop:
    hung = Transmitter(point=transmitter, given=True, note="") if transmitter else None
    outer = Run(part="loop", loop_id="L1", line=OUTER, current=1.0)
    signal = [one for one in runs if not one.twisted]
    return Loop(runs=(outer, *signal, *(one for one in runs if one.twisted)), transmitter=hung, allowed=MultiPolygon())


FEED = run("lead_in", "T1", (20, 20), (40, 20))
LAYOUTS = {
    "one loop": loop(FEED),
    "two pairs from the transmitter": loop(ring(10, 22), FEED, run("lead_in", "T2", (20, 20), (10, 22))),
    "current against the line": loop(ring(10, 22, current=-1.0), FEED, run("lead_in", "T2", (20, 20), (10, 22))),
    "pair parted at a branch": loop(
        ring(24, 26),
        ring(24, 12, loop_id="K2"),
        run("lead_in", "T1", (20, 20), (24, 20)),
        run("lead_in", "T2", (24, 20), (24, 26)),
        run("lead_in", "T3", (24, 20), (40, 20)),
        run("lead_in", "T4", (24, 20), (24, 12)),
    ),
    "branch on the way": loop(ring(30, 26), FEED, run("lead_in", "T2", (30, 20), (30, 26))),
    "branch where a loop is fed": loop(ring(36, 24), FEED, run("lead_in", "T2", (40, 20), (36, 24))),
    "inner loop fed from the outer": loop(ring(10, 4), FEED, run("lead_in", "T2", (10, 0), (10, 4))),
    "feed of a feed": loop(
        ring(30, 26),
        ring(20, 30, loop_id="K2"),
        run("lead_in", "T3", (30, 24), (20, 30)),
        run("lead_in", "T2", (30, 20), (30, 26)),
        FEED,
    ),
    "transmitter at the wire": loop(transmitter=Point(40, 20)),
}


def of(layout: Loop, place: Site | None = None, **changes: float) -> Sequence:
    place, settings = place or site(), Settings(**{"spool_length_m": 1e4} | changes)
    measured = crossings(layout, place, settings=settings)
    return sequence(layout, place, settings=settings, crossings=measured)


class Replay:
    """Wires a sequence up from its legs and from the words of its splices, and then follows the current.

    It knows nothing of how the loop was designed: an end of wire is (conductor, where), a wire joins two ends.
    """

    def __init__(self, done: Sequence) -> None:
        self.wires: dict[tuple[str, int], tuple[str, str]] = {}
        self.joined: dict[str, str] = {}
        self.legs = {leg.loop_id: leg for leg in done.legs}
        cuts: dict[str, list[tuple[float, Splice]]] = {}
        for splice in done.splices:
            if found := re.match(r"cut (?:conductor A|the wire) of (\w+)", splice.note):
                cuts.setdefault(found[1], []).append((splice.station_m, splice))
        for leg in done.legs:
            self._lay(leg, cuts=sorted(cuts.get(leg.loop_id, []), key=itemgetter(0)))
        for splice in done.splices:
            self._join(splice)

    def _lay(self, leg: Leg, *, cuts: list[tuple[float, Splice]]) -> None:
        names = [f"{leg.loop_id}{'.A' if leg.twisted else ''}|start"]
        for _, splice in cuts:
            names += [f"{splice.id}|before", f"{splice.id}|after"]
        names.append(names[0].replace("|start", "|end"))
        for number, (one, other) in enumerate(zip(names[::2], names[1::2], strict=True)):
            self.wires[leg.loop_id, number] = (one, other)
        if leg.twisted:
            self.wires[leg.loop_id, -1] = (f"{leg.loop_id}.B|start", f"{leg.loop_id}.B|end")

    def _end(self, words: str, splice: Splice) -> str:
        if found := re.fullmatch(r"the (beginning|end) of (\w+)", words):
            return f"{found[2]}|{'start' if found[1] == 'beginning' else 'end'}"
        found = re.fullmatch(r"conductor ([AB]) of (\w+)", words)
        assert found, words
        line = self.legs[found[2]].line
        near = Point(line.coords[0]).distance(splice.point) < Point(line.coords[-1]).distance(splice.point)
        return f"{found[2]}.{found[1]}|{'start' if near else 'end'}"

    def _join(self, splice: Splice) -> None:
        if "spool" in splice.note:
            return
        text = splice.note.split(";")[0]
        if found := re.fullmatch(
            r"cut .* here: join the side of (?:the transmitter|its (beginning|end)) to conductor A of (\w+), .*", text
        ):
            into, onward = ("after", "before") if found[1] == "end" else ("before", "after")
            pairs = [(f"{splice.id}|{into}", f"{found[2]}.A|start"), (f"{splice.id}|{onward}", f"{found[2]}.B|start")]
        else:
            listed = re.sub(r"^(at the transmitter: )?join ", "", text)
            pairs = [
                (self._end(one, splice), self._end(other, splice))
                for one, other in (words.split(" to ") for words in re.split(r", | and ", listed))
            ]
        assert len(pairs) == splice.joints
        for one, other in pairs:
            assert one not in self.joined
            assert other not in self.joined
            self.joined |= {one: other, other: one}

    def follow(self) -> list[tuple[str, bool]]:
        """Follow the current from the transmitter; gives each wire with whether it was walked from its beginning."""
        ends = {end for wire in self.wires.values() for end in wire}
        loose = sorted(ends - self.joined.keys(), key=lambda end: end.endswith((".B|start", "|end")))
        assert len(loose) == 2
        assert all(end.endswith("|start") or self.legs[end.split("|")[0]].part == "loop" for end in loose)
        walked = []
        here = loose[0]
        while True:
            name, (one, other) = next((key, wire) for key, wire in self.wires.items() if here in wire)
            walked.append((name[0], here == one))
            there = other if here == one else one
            if there not in self.joined:
                assert there == loose[1]
                return walked
            here = self.joined[there]


@pytest.mark.parametrize("name", LAYOUTS)
def test_replayed_it_visits_every_wire_and_ends_at_the_transmitter_with_two_ends(name: str) -> None:
    layout = LAYOUTS[name]
    replay = Replay(of(layout))
    walked = replay.follow()
    assert len(walked) == len(replay.wires)
    for one in layout.runs:
        directions = [forward for loop_id, forward in walked if loop_id == one.loop_id]
        if one.twisted:
            assert {True, False} == set(directions)
        else:
            assert set(directions) == {one.current > 0}


def test_the_designed_sample_is_replayed_too() -> None:
    folder = Path(__file__).parents[2] / "sample_geodata"
    files = {name: folder / f"{name}.geojson" for name in ("parcels", "buildings", "keep_outs", "water", "transmitter")}
    place = read_site(**files, marks=folder / "marks_lines.geojson", select="parcel_no=31-07")
    layout = design(place, Settings())
    done = of(layout, place, spool_length_m=Settings().spool_length_m)
    replay = Replay(done)
    walked = replay.follow()
    assert sorted(name for name, _ in walked) == sorted(name for name, _ in replay.wires)
    assert {one.loop_id for one in layout.runs} == {name for name, _ in walked}
    assert any(one.part == "inner_loop" for one in layout.runs)


@pytest.mark.parametrize("name", LAYOUTS)
def test_every_leg_begins_on_what_lies_already(name: str) -> None:
    layout = LAYOUTS[name]
    assert layout.transmitter
    laid = layout.transmitter.point
    for leg in of(layout).legs:
        assert laid.distance(Point(leg.line.coords[0])) <= 0.1
        laid = laid.union(leg.line)


@pytest.mark.parametrize("name", LAYOUTS)
def test_every_run_is_one_leg_with_a_running_total(name: str) -> None:
    layout = LAYOUTS[name]
    done = of(layout)
    assert sorted(leg.loop_id for leg in done.legs) == sorted(one.loop_id for one in layout.runs)
    assert [leg.leg for leg in done.legs] == list(range(1, len(done.legs) + 1))
    totals = [0.0, *(leg.running_total_m for leg in done.legs)]
    for leg, (before, after) in zip(done.legs, pairwise(totals), strict=True):
        assert after - before == pytest.approx(leg.conductor_length_m)
        assert leg.line.is_closed == (not leg.twisted)


def test_feeds_come_right_before_their_loops() -> None:
    assert [leg.loop_id for leg in of(LAYOUTS["pair parted at a branch"]).legs] == [
        *("T1", "T3", "L1", "T2", "K1", "T4", "K2")
    ]
    assert [leg.loop_id for leg in of(LAYOUTS["feed of a feed"]).legs] == ["T1", "L1", "T2", "K1", "T3", "K2"]


def test_words_say_where_legs_begin_and_end() -> None:
    first, second, third, _ = of(LAYOUTS["branch on the way"]).legs
    assert (first.start, first.end) == ("transmitter", "loop L1 at 0+000.0")
    assert (second.start, second.end) == ("lead-in T1 at its end", "back at the beginning of loop L1 at 0+160.0")
    assert (third.start, third.end) == ("lead-in T1 at 0+010.0", "inner loop K1 at 0+000.0")


def test_slack_and_both_conductors_of_a_pair() -> None:
    lead_in, outer = of(LAYOUTS["one loop"], slack_percent=5).legs
    assert outer.conductor_length_m == pytest.approx(160 * 1.05)
    assert 2 * 20 * 1.05 * 1.03 < lead_in.conductor_length_m < 2 * 20 * 1.05 * 1.06


def test_without_a_transmitter_the_loops_are_still_listed() -> None:
    (only,) = of(loop(transmitter=None)).legs
    assert only.start == "loop L1 at 0+000.0, where nothing leads to yet"


def test_a_sloppily_drawn_lead_in_is_attached() -> None:
    done = of(loop(run("lead_in", "T1", (20.4, 20), (39.3, 20))))
    assert [leg.loop_id for leg in done.legs] == ["T1", "L1"]
    assert done.legs[0].start == "transmitter"


def test_spools_are_counted() -> None:
    done = of(loop(transmitter=None), slack_percent=0, spool_length_m=45)
    assert done.spools == 4
    assert [splice.station_m for splice in done.splices] == [45, 90, 135]
    assert done.splices[0].note == "join the end of spool 1 to spool 2; waterproof cap"
    assert done.splices[0].point.distance(OUTER) < 1e-9


def test_a_spool_that_just_suffices_is_not_joined() -> None:
    done = of(loop(transmitter=None), slack_percent=0, spool_length_m=160)
    assert (done.spools, done.splices) == (1, ())


@given(spool_m=st.floats(12, 170), x=st.floats(4, 36))
def test_splices_keep_clear(spool_m: float, x: float) -> None:
    drive = Feature(id="d", kind="drive", source_id="h", geometry=box(-5, 8, 5, 12))
    place = site(utilities=(gas(x),), hardscape=(drive,))
    layout = LAYOUTS["one loop"]
    settings = Settings(spool_length_m=spool_m)
    done = of(layout, place, spool_length_m=spool_m)
    corners = [Point(xy) for xy in OUTER.coords[1:-1]]
    joined = [splice for splice in done.splices if "spool" in splice.note]
    for splice in joined:
        assert drive.geometry.distance(splice.point) >= 0.5 - 1e-6
        assert min(corner.distance(splice.point) for corner in corners) >= 0.5 - 1e-6
        for crossing in crossings(layout, place, settings=settings):
            if crossing.twisted == splice.loop_id.startswith("T"):
                assert crossing.point.distance(splice.point) >= 0.5 + crossing.length_m / 2 - 1e-6
    assert done.spools * spool_m >= done.conductor_length_m
    assert len(joined) <= done.spools - 1


def test_a_splice_moved_back_says_so() -> None:
    done = of(loop(transmitter=None), slack_percent=0, spool_length_m=20.3)
    assert done.splices[0].station_m == pytest.approx(19.5)
    assert "0.8 m before the wire runs out" in done.splices[0].note


def test_spools_shorter_than_a_stretch_without_room_are_joined_at_their_ends() -> None:
    drive = Feature(id="d", kind="drive", source_id="h", geometry=box(-5, 5, 5, 35))
    done = of(loop(transmitter=None), site(hardscape=(drive,)), spool_length_m=7)
    assert done.spools >= 160 * 1.02 / 7


def test_the_same_wire_gives_the_same_sequence() -> None:
    layout = LAYOUTS["pair parted at a branch"]
    assert of(layout, spool_length_m=30) == of(layout, spool_length_m=30)


def sloping(folder: Path, slope: float) -> Site:
    """Give the site ground that rises eastwards; it lies where the rasters of the tests have no lot."""
    around = box(-60, -60, 100, 100)
    return on_terrain(site(), ElevationSource(path=raster(folder / "dem.tif", plane(slope, at=(0, 0)), area=around)))


def test_on_a_slope_legs_are_as_long_as_the_ground_and_stations_those_of_the_plan(tmp_path: Path) -> None:
    lead_in, outer = of(LAYOUTS["one loop"], sloping(tmp_path, 0.75), slack_percent=0).legs
    level_lead_in, level_outer = of(LAYOUTS["one loop"], slack_percent=0).legs
    assert lead_in.ground_length_m == pytest.approx(20 * 1.25)
    assert outer.ground_length_m == pytest.approx(80 * 1.25 + 80)
    assert outer.conductor_length_m == pytest.approx(180)
    assert lead_in.conductor_length_m == pytest.approx(level_lead_in.conductor_length_m * 1.25)
    assert outer.running_total_m == pytest.approx(180 + lead_in.conductor_length_m)
    assert (outer.start, outer.end) == (level_outer.start, level_outer.end)
    assert outer.start_station_m == 0.0


def test_on_a_slope_spools_end_earlier_on_the_plan(tmp_path: Path) -> None:
    done = of(loop(transmitter=None), sloping(tmp_path, 0.75), slack_percent=0, spool_length_m=45)
    # 20 m level, then 25 m of ground up or down that are 20 m on the plan, and so round
    assert [splice.station_m for splice in done.splices] == pytest.approx([40, 80, 120])
    for splice, xy in zip(done.splices, [(20, 40), (0, 20), (20, 0)], strict=True):
        assert splice.point.distance(Point(xy)) < 1e-6
    assert done.spools == 4


def test_on_a_slope_splices_still_keep_clear_on_the_plan(tmp_path: Path) -> None:
    place = sloping(tmp_path, 0.75)
    for spool_m in (21.0, 33.3, 69.9, 70.2, 109.8, 157.0):
        for splice in of(loop(transmitter=None), place, slack_percent=0, spool_length_m=spool_m).splices:
            assert min(splice.point.distance(Point(xy)) for xy in OUTER.coords) >= 0.5 - 1e-6


def test_flat_ground_changes_nothing(tmp_path: Path) -> None:
    layout = LAYOUTS["pair parted at a branch"]
    level, flat = of(layout, spool_length_m=30), of(layout, sloping(tmp_path, 0.0), spool_length_m=30)
    for one, other in zip(level.legs, flat.legs, strict=True):
        assert other.ground_length_m == pytest.approx(one.ground_length_m, abs=1e-9)
        assert other.running_total_m == pytest.approx(one.running_total_m, abs=1e-9)
    for here, there in zip(level.splices, flat.splices, strict=True):
        assert (here.note, here.joints) == (there.note, there.joints)
        assert there.station_m == pytest.approx(here.station_m, abs=1e-9)
