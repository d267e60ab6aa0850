"""A wire that somebody drew or surveyed, as a loop that can be assessed like a design."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from shapely import LineString, MultiPolygon, Point, Polygon
from shapely.ops import substring

from parcelfence.conflict import Conflict
from parcelfence.errors import Fault, InputError, NoLoopError
from parcelfence.layout.allowed import allowed_land
from parcelfence.layout.loop import Loop, Run, Transmitter
from parcelfence.layout.open_ground import contained_ground
from parcelfence.layout.open_side import spacing_of
from parcelfence.layout.rounding import whole

if TYPE_CHECKING:
    from collections.abc import Sequence

    from shapely.geometry.base import BaseGeometry

    from parcelfence.inputs.wire_file import DrawnLine
    from parcelfence.layout.loop import Part
    from parcelfence.settings import Settings
    from parcelfence.site.site import Site

__all__ = ["drawn_loop", "is_doubled_back"]

CLOSING_M: Final = 1.0
"""Ends of a run that are no farther apart are joined; so far a hand-held receiver may be off (from memory)."""
_HARDLY_OPEN_M: Final = 0.05
_PIECES_MEET_M: Final = 0.1
"""Pieces of one run are drawn with ends that meet, or nearly so (from memory)."""
_RULE: Final = "drawn-wire"
_EXACT_M: Final = 0.001
_LOST_SHARE: Final = 0.01
_HAIRPIN_SPACINGS: Final = 1.5
"""At a corner a return run lies wider than along a straight, by half a diagonal, and by some more as laid by hand."""
_LONGEST_OVERLAP_M: Final = 5.0
"""A walk goes on beyond its start for some steps; a longer overlap is another run (from memory)."""


def drawn_loop(lines: Sequence[DrawnLine], *, site: Site, settings: Settings, name: str = "wire") -> Loop:
    """Make a loop of drawn lines.

    Parts that the file states are kept.  Of the others, a closed line within another one is an inner loop, any other
    closed line a loop, and an open line that begins or ends at a loop a lead-in.  Loops are turned to run
    counter-clockwise, inner loops clockwise, as a design does; a loop whose lead-in is drawn begins where it attaches.

    Parameters
    ----------
    lines : sequence of DrawnLine
        In the working CRS.
    site : Site
        Gives the transmitter, and the region that the setbacks allow.
    settings : Settings
        Clearances of that region.
    name : str
        What to call the file in messages.

    Raises
    ------
    InputError
        If it does not meet the property, no line closes to a loop, or one crosses itself; with all such faults.
    """
    drawn = [_Drawn.of(line) for line in _joined_pieces(lines)]
    rings = [one for one in drawn if one.is_ring]
    away_m = min((float(site.parcel.distance(one.line)) for one in drawn), default=0.0)
    if away_m > 0:
        raise InputError(_elsewhere(away_m, name=name))
    if not rings:
        raise InputError(_no_ring(drawn, name=name))
    faults = [fault for one in rings for fault in one.faults(name)]
    leads = [one for one in drawn if not one.is_ring]
    ends = [Point(lead.line.coords[0]) for lead in leads] + [Point(lead.line.coords[-1]) for lead in leads]
    faults += [_loose(lead, name=name) for lead in leads if lead.part != "lead_in" and not _touches(lead, rings)]
    if faults:
        raise InputError(faults)
    rings = [
        replace(one, part="return_run") if _is_hairpin(one, site=site, settings=settings) else one for one in rings
    ]
    runs = [_ring_run(one, among=rings, ends=ends) for one in rings]
    runs.sort(key=lambda run: ("loop", "return_run", "inner_loop").index(run.part))
    runs += [_lead_run(lead, rings=rings, site=site) for lead in leads]
    doubled = [Polygon(run.line) for run in runs if run.part == "return_run"]
    loop = Loop(
        runs=_numbered(runs),
        transmitter=_transmitter([run for run in runs if run.twisted], site=site),
        allowed=MultiPolygon(),
        remarks=tuple(remark for one in drawn for remark in one.remarks),
        ground=contained_ground(doubled, site=site) if doubled else None,
    )
    return replace(loop, allowed=_allowed(site, settings, enclosed=loop.enclosed))


def is_doubled_back(lines: Sequence[DrawnLine], *, site: Site, settings: Settings) -> bool:
    """Whether some of a drawn wire is doubled back along an open side, by what it says or by its shape."""
    drawn = [_Drawn.of(line) for line in _joined_pieces(lines)]
    return any(one.part == "return_run" or _is_hairpin(one, site=site, settings=settings) for one in drawn)


def _is_hairpin(one: _Drawn, *, site: Site, settings: Settings) -> bool:
    """Whether a line that states no part lies as a return run does: long, and nowhere wider than one is spaced."""
    open_layout = bool(site.open_sides or site.passages) or settings.layout in {"open-side", "back-yard"}
    if one.part or not one.is_ring or not open_layout or not one.line.is_simple:
        return False
    area = Polygon(one.line)
    wide_m = _HAIRPIN_SPACINGS * spacing_of(settings)
    return area.buffer(-wide_m / 2).is_empty and one.line.length > _HAIRPIN_SPACINGS * 2 * wide_m


@dataclass(frozen=True, kw_only=True)
class _Drawn:
    """A drawn line, closed if its ends all but meet."""

    line: LineString
    part: str
    loop_id: str
    remarks: tuple[Conflict, ...] = ()

    @classmethod
    def of(cls, drawn: DrawnLine) -> _Drawn:
        drawn_line = shapely.remove_repeated_points(drawn.line)
        plain = cls(line=drawn_line, part=drawn.part, loop_id=drawn.loop_id)
        coordinates = list(drawn_line.coords)
        gap = LineString([coordinates[-1], coordinates[0]])
        kept = coordinates if gap.length > _EXACT_M else coordinates[:-1]
        if drawn.part == "lead_in" or gap.length > CLOSING_M or len(kept) <= 2:  # noqa: PLR2004
            return plain
        closed = replace(plain, line=LineString([*kept, coordinates[0]]))
        return closed.untangled() if not (closed.line.is_valid and closed.line.is_simple) else closed.told_of(gap)

    def told_of(self, gap: LineString) -> _Drawn:
        """Say that the ends of a line were taken as joined, where they do not meet."""
        if gap.length <= _HARDLY_OPEN_M:
            return self
        remark = Conflict(
            rule=_RULE,
            severity="caution",
            message=f"The ends of the drawn wire are {gap.length:.2f} m apart; they are taken as joined.",
            remedy="Make sure that the wire is closed there, and draw it as it lies.",
            geometry=gap,
            measured=gap.length,
            limit=0.0,
            layer="wire",
            feature=self.loop_id,
        )
        return replace(self, remarks=(*self.remarks, remark))

    @property
    def is_ring(self) -> bool:
        return self.line.is_closed

    def untangled(self) -> _Drawn:
        """Cut off a small loop that the line makes with itself, as where a walk ends beyond its start."""
        if not self.line.is_valid or self.line.is_simple:
            return self
        pieces = shapely.get_parts(shapely.polygonize([shapely.node(self.line)]))
        faces = sorted(shapely.get_parts(pieces), key=lambda face: face.area)
        if not faces or sum(face.area for face in faces[:-1]) > _LOST_SHARE * faces[-1].area:
            return self
        kept = LineString(faces[-1].exterior.coords)
        if self.line.length - kept.length > _LONGEST_OVERLAP_M:
            return self
        remark = Conflict(
            rule=_RULE,
            severity="note",
            message="The drawn wire crosses itself; the small loop that it makes there was left out.",
            remedy="Check there that the wire was drawn as it lies.",
            geometry=shapely.difference(self.line, kept.buffer(_EXACT_M)),
            layer="wire",
        )
        return replace(self, line=kept, remarks=(*self.remarks, remark))

    def faults(self, name: str) -> list[Fault]:
        encloses_m2 = shapely.polygonize([shapely.node(self.line)]).area if self.line.is_valid else 0.0
        if self.line.is_simple and encloses_m2 > _EXACT_M:
            return []
        if encloses_m2 <= _EXACT_M:
            found, must = "the wire runs back on itself and encloses nothing", "a loop encloses ground"
            return [Fault(where=name, feature=self.loop_id, found=found, must=must, remedy="correct the drawing")]
        where = _self_crossing(self.line)
        return [
            Fault(
                where=name,
                feature=self.loop_id,
                found=f"the wire crosses itself near {where.x:.1f}, {where.y:.1f} (working CRS)",
                must="a loop of single wire is a simple closed line",
                remedy="correct the drawing, or draw several loops one by one",
            )
        ]


def _self_crossing(line: LineString) -> Point:
    """Give a place where a line meets itself: an end that more than two of its pieces share."""
    ends = shapely.get_point(shapely.get_parts(shapely.node(line)), np.array([[0], [-1]])).ravel()
    places, count = np.unique(shapely.get_coordinates(ends), axis=0, return_counts=True)
    return Point(places[count.argmax()])


def _joined_pieces(lines: Sequence[DrawnLine]) -> list[DrawnLine]:
    """Join open lines that meet end to end into the ring that they make together; all else stays as it is drawn."""
    open_lines = [one for one in lines if one.part != "lead_in" and not _is_ring(one)]
    made: list[DrawnLine] = []
    used: set[int] = set()
    for number, first in enumerate(open_lines):
        chain, coordinates = [number], list(first.line.coords)
        while number not in used and not _meet(coordinates[0], coordinates[-1]):
            following = [
                (other, piece)
                for other, one in enumerate(open_lines)
                if other not in used and other not in chain and one.part == first.part
                for piece in (list(one.line.coords), list(one.line.coords)[::-1])
                if _meet(coordinates[-1], piece[0])
            ]
            if len(following) != 1:
                break
            chain.append(following[0][0])
            coordinates += following[0][1]
        if len(chain) > 1 and _meet(coordinates[0], coordinates[-1]):
            used |= set(chain)
            made.append(replace(first, line=LineString(coordinates)))
    rest = {id(one) for number, one in enumerate(open_lines) if number not in used}
    return [*(one for one in lines if _is_ring(one) or one.part == "lead_in" or id(one) in rest), *made]


def _is_ring(one: DrawnLine) -> bool:
    return math.dist(one.line.coords[0], one.line.coords[-1]) <= CLOSING_M and len(one.line.coords) > 3  # noqa: PLR2004


def _meet(one: tuple[float, ...], other: tuple[float, ...]) -> bool:
    return math.dist(one, other) <= _PIECES_MEET_M


def _touches(lead: _Drawn, rings: Sequence[_Drawn]) -> bool:
    ends = [Point(lead.line.coords[0]), Point(lead.line.coords[-1])]
    return any(ring.line.distance(end) <= CLOSING_M for ring in rings for end in ends)


def _ring_run(one: _Drawn, *, among: Sequence[_Drawn], ends: Sequence[Point]) -> Run:
    part = one.part if one.part in {"loop", "inner_loop", "return_run"} else _part(one, among=among)
    polygon = shapely.orient_polygons(Polygon(one.line), exterior_cw=part == "inner_loop")
    line = LineString(polygon.exterior.coords)
    end = min(ends, key=line.distance, default=None)
    start = end if end is not None and line.distance(end) <= CLOSING_M else Point(one.line.coords[0])
    typed: Part = "inner_loop" if part == "inner_loop" else "return_run" if part == "return_run" else "loop"
    return Run(part=typed, loop_id=one.loop_id, line=_started(line, start), current=1.0)


def _part(one: _Drawn, *, among: Sequence[_Drawn]) -> str:
    around = [Polygon(other.line) for other in among if other is not one]
    return "inner_loop" if any(polygon.contains(one.line) for polygon in around) else "loop"


def _started(ring: LineString, point: Point) -> LineString:
    at_m = ring.project(point)
    if at_m <= _EXACT_M or at_m >= ring.length - _EXACT_M:
        return ring
    after, before = substring(ring, at_m, ring.length), substring(ring, 0.0, at_m)
    return LineString([*after.coords, *before.coords[1:]])


def _lead_run(lead: _Drawn, *, rings: Sequence[_Drawn], site: Site) -> Run:
    """Turn a lead-in to begin at the transmitter; its other end is where it meets a loop."""
    start, end = Point(lead.line.coords[0]), Point(lead.line.coords[-1])
    if site.transmitter is not None:
        backwards = end.distance(site.transmitter) < start.distance(site.transmitter)
    else:
        reach = shapely.union_all([ring.line for ring in rings])
        backwards = start.distance(reach) < end.distance(reach)
    line = LineString(lead.line.coords[::-1]) if backwards else lead.line
    return Run(part="lead_in", loop_id=lead.loop_id, line=line, current=0.0)


def _numbered(runs: Sequence[Run]) -> tuple[Run, ...]:
    """Give every run an identifier of its own."""
    letters = {"loop": "L", "inner_loop": "K", "return_run": "R", "lead_in": "T"}
    taken: set[str] = set()
    numbered = []
    for run in runs:
        candidates = (f"{letters[run.part]}{number}" for number in range(1, len(runs) + 2))
        loop_id = (
            run.loop_id if run.loop_id and run.loop_id not in taken else next(c for c in candidates if c not in taken)
        )
        taken.add(loop_id)
        numbered.append(replace(run, loop_id=loop_id))
    return tuple(numbered)


def _transmitter(leads: Sequence[Run], *, site: Site) -> Transmitter | None:
    if site.transmitter is not None:
        return Transmitter.as_given(site.transmitter)
    if leads:
        return Transmitter(point=Point(leads[0].line.coords[0]), given=False, note="at the end of the drawn lead-in")
    return None


def _allowed(site: Site, settings: Settings, *, enclosed: BaseGeometry) -> MultiPolygon:
    """Give the parts of the allowed land that the wire lies in: what it could enclose at most."""
    try:
        region = allowed_land(site, settings).region
    except NoLoopError:
        return MultiPolygon()
    return whole(shapely.union_all([part for part in region.geoms if part.intersects(enclosed)]))


def _elsewhere(away_m: float, *, name: str) -> Fault:
    return Fault(
        where=name,
        found=f"the wire lies {away_m:,.0f} m from the property",
        must="it must lie on the property, at least in part",
        remedy="check that it is the right file, and its CRS",
    )


def _no_ring(drawn: Sequence[_Drawn], *, name: str) -> Fault:
    longest = max(drawn, key=lambda one: one.line.length)
    gap_m = Point(longest.line.coords[0]).distance(Point(longest.line.coords[-1]))
    return Fault(
        where=name,
        found=f"no line of it is closed; the ends of the longest are {gap_m:.2f} m apart",
        must=f"a loop is closed, or its ends lie within {CLOSING_M:.0f} m",
        remedy="close the line where the lead-in attaches",
    )


def _loose(lead: _Drawn, *, name: str) -> Fault:
    gap_m = Point(lead.line.coords[0]).distance(Point(lead.line.coords[-1]))
    return Fault(
        where=name,
        feature=lead.loop_id,
        found=f"an open line of {lead.line.length:.1f} m whose ends ({gap_m:.2f} m apart) meet no loop",
        must="an open line is a lead-in and ends at a loop",
        remedy="close it, or leave it out of the layer",
    )
