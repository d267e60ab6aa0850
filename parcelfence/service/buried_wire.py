"""The buried wire as a person looks for its break: the conductor, its joints, and what threatens it along the way."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely
from scipy.special import ndtr
from shapely import MultiPolygon

from parcelfence.circuit.conductor import gauge_diameter_m
from parcelfence.errors import Fault, InputError, SettingsError, near_matches
from parcelfence.inputs.walk_stations import chainage_m
from parcelfence.layout.loop import Loop, Transmitter
from parcelfence.service.break_belief import BreakBelief
from parcelfence.service.conductor_path import conductor_path

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from numpy.typing import NDArray
    from shapely import Point
    from shapely.geometry.base import BaseGeometry

    from parcelfence.service.break_belief import BreakRates
    from parcelfence.service.conductor_path import ConductorPath
    from parcelfence.service.written_plan import WrittenPlan
    from parcelfence.settings import Settings

__all__ = ["BuriedWire", "buried_wire", "fade_before_break_m"]

_CELL_M: Final = 0.25
_MOST_CELLS: Final = 1500
"""So fine that the grid adds nothing to the half metre by which a person finds a place; beyond 375 m it grows."""
_EDGE_ERROR_M: Final = 0.2
"""How well the distance between the wire and an edge is known: the edge of a bed moves by a spade's width."""
_PERMITTIVITY: Final = 2.3 * 8.854e-12
"""Of a polyethylene jacket, F/m (relative permittivity 2.3, from memory)."""
_PROBE_M: Final = 0.05
"""A receiver held on the ground: so much above the surface."""
_ELSEWHERE: Final = (
    "a place is A or B (the terminals), a splice (S2), a crossing (X1), a flag (flag 12), or a chainage (L1 45 m)"
)
_CHAINAGE: Final = re.compile(r"(?P<loop>\S+)\s+(?:at\s+)?(?P<station>\d.*)")
_FLAG: Final = re.compile(r"flag\s*(\d+)", re.IGNORECASE)


@dataclass(frozen=True, kw_only=True, eq=False)
class BuriedWire:
    """A wire as built.

    Parameters
    ----------
    path : ConductorPath
        From terminal A to terminal B.
    settings : Settings
        Units and how stations are written.
    splices : mapping of str to tuple of float
        Places along the path of each splice: one for every joint that it makes.
    named : mapping of str to Point
        Crossings (``"X1"``) and flags (``"FLAG 12"``) on the ground.
    crossings : tuple of (Point, float)
        Where the wire crosses other lines, with the length that lies in their tolerance zone.
    hardscape, beds : BaseGeometry
        Edges of drives and walks, and of beds and other keep-outs.
    expected_ohms : float
        Resistance between the terminals of the sound wire.
    fade_m : float
        How far before a break the receiver falls silent, see :func:`fade_before_break_m`.
    """

    path: ConductorPath
    settings: Settings
    splices: Mapping[str, tuple[float, ...]]
    named: Mapping[str, Point]
    crossings: tuple[tuple[Point, float], ...]
    hardscape: BaseGeometry
    beds: BaseGeometry
    expected_ohms: float
    fade_m: float

    def prior(self, rates: BreakRates, *, dug: Iterable[tuple[tuple[float, ...], float]] = ()) -> BreakBelief:
        """Say where a break is to be expected before anything is measured.

        Parameters
        ----------
        rates : BreakRates
            How often what fails.
        dug : iterable of (tuple of float, float)
            Places along the path where somebody has dug lately, with the radius.
        """
        edges_m = self._cell_edges()
        middles_m, lengths_m = (edges_m[:-1] + edges_m[1:]) / 2.0, np.diff(edges_m)
        points = self.path.points(middles_m)
        plain = lengths_m * self._edge_factors(points, rates=rates)
        joints = sum(
            (
                _spread(middles_m, at_m, width_m=rates.place_error_m)
                for places in self.splices.values()
                for at_m in places
            ),
            np.zeros(len(middles_m)),
        )
        ends = sum(_spread(middles_m, at_m, width_m=rates.place_error_m) for at_m in (0.0, self.path.length_m))
        digging = np.zeros(len(middles_m))
        for places_m, radius_m in dug:
            here = (np.abs(middles_m[:, None] - np.array(places_m)) <= radius_m).any(axis=1) * lengths_m
            digging += here / max(here.sum(), 1e-9) * rates.digging_as_m
        opened = plain + joints * rates.splice_as_m + ends * rates.wall_as_m + digging
        weak = plain * rates.partial_plain_factor + joints * rates.splice_as_m + digging
        return BreakBelief.of(
            edges_m,
            opened=opened / opened.sum() * (1.0 - rates.partial_share - rates.transmitter_share),
            weak=weak / weak.sum() * rates.partial_share,
            elsewhere=rates.transmitter_share,
        )

    def places(self, text: str, *, where: str) -> tuple[float, ...]:
        """Find a place that a person wrote, along the path: once for each conductor that lies there.

        Raises
        ------
        InputError
            If there is no such place; known ones are named.
        """
        word = " ".join(text.split())
        if word.upper() in {"A", "B"}:
            return (0.0 if word.upper() == "A" else self.path.length_m,)
        splice = next((places for name, places in self.splices.items() if name.casefold() == word.casefold()), None)
        if splice is not None:
            return splice
        flag = _FLAG.fullmatch(word)
        point = self.named.get(f"FLAG {flag[1]}" if flag else word.upper())
        if point is not None:
            single = [piece for piece in self.path.pieces if not piece.conductor] or list(self.path.pieces)
            nearest = min(single, key=lambda piece: float(piece.run.line.distance(point)))
            return self.path.places_of(shapely.shortest_line(nearest.run.line, point).interpolate(0.0))[:1]
        chainage = _CHAINAGE.fullmatch(word)
        if chainage is not None:
            try:
                station_m = chainage_m(chainage["station"].strip(), unit="", settings=self.settings)
            except SettingsError as error:
                raise InputError(Fault(where=where, found=f"{text!r}: {error}")) from error
            found = tuple(place for place, _ in self.path.places_at(chainage["loop"], station_m=station_m))
            if found:
                return found
        known = [*self.splices, *(name for name in self.named if name.startswith("X"))]
        known += dict.fromkeys(piece.run.loop_id for piece in self.path.pieces)
        raise InputError(
            Fault(
                where=where,
                found=f"there is no place {text!r} on this wire",
                must=_ELSEWHERE,
                remedy=near_matches(word.split()[0] if word else "", known),
            )
        )

    def _cell_edges(self) -> NDArray[np.float64]:
        """Cut the path into cells of one length."""
        cells = math.ceil(self.path.length_m / max(_CELL_M, self.path.length_m / _MOST_CELLS) - 1e-9)
        return np.linspace(0.0, self.path.length_m, cells + 1)

    def _edge_factors(self, points: NDArray[np.object_], *, rates: BreakRates) -> NDArray[np.float64]:
        factors = np.ones(len(points))
        for edges, factor in ((self.hardscape, rates.hardscape_edge_factor), (self.beds, rates.bed_edge_factor)):
            if not edges.is_empty:
                near = ndtr((rates.edge_m - shapely.distance(edges, points)) / _EDGE_ERROR_M)
                factors *= 1.0 + (factor - 1.0) * near
        for point, length_m in self.crossings:
            factors[shapely.distance(point, points) <= max(length_m / 2.0, rates.edge_m)] *= rates.crossing_factor
        return factors


def buried_wire(plan: WrittenPlan, *, expected_ohms: float | None = None) -> BuriedWire:
    """Take the wire of a written folder, as planned or as built.

    Parameters
    ----------
    plan : WrittenPlan
        The folder.
    expected_ohms : float, optional
        Resistance when the wire was sound; otherwise the one that was recorded as built, otherwise the computed one.
    """
    transmitter = [shape for shape, _ in plan.features("transmitter")]
    loop = Loop(
        runs=plan.runs,
        transmitter=Transmitter(point=_middle(transmitter[0]), given=True, note="") if transmitter else None,
        allowed=MultiPolygon(),
    )
    path = conductor_path(loop)
    crossings = plan.features("crossings")
    named = {f"X{number}": _middle(shape) for number, (shape, _) in enumerate(crossings, start=1)}
    named |= {f"FLAG {words['flag']}": _middle(shape) for shape, words in plan.features("flags")}
    circuit: Mapping[str, Any] = plan.summary.get("circuit", {})
    recorded = plan.summary.get("as_built", {}).get("resistance_ohm")
    computed = circuit.get("resistance_ohm")
    ohms = next((float(value) for value in (expected_ohms, recorded, computed) if value is not None), math.nan)
    return BuriedWire(
        path=path,
        settings=plan.settings,
        splices={
            str(words["id"]): _joints(_middle(shape), words, path=path) for shape, words in plan.features("splices")
        },
        named=named,
        crossings=tuple((_middle(shape), float(words["length_m"] or 0.0)) for shape, words in crossings),
        hardscape=shapely.union_all([shapely.boundary(shape) for shape, _ in plan.features("hardscape")]),
        beds=shapely.union_all([shapely.boundary(shape) for shape, _ in plan.features("keep_outs")]),
        expected_ohms=ohms,
        fade_m=fade_before_break_m(
            settings=plan.settings,
            impedance_ohm=float(circuit.get("impedance_ohm") or math.nan),
            slant_m=plan.receiver.slant_m,
            length_m=path.length_m,
        ),
    )


def fade_before_break_m(*, settings: Settings, impedance_ohm: float, slant_m: float, length_m: float) -> float:
    """How far before an open break the receiver, held on the ground, falls silent.

    Into an open conductor only the charging current of its capacitance to the soil flows, and it dwindles to nothing at
    the break: I(s) = omega C' V (break - s), with V = Z I0 of the sound loop.  The receiver just reacts to I0 at the
    slant distance of its reach, so on the ground, at the distance d, to I0 d / slant.

    Parameters
    ----------
    settings : Settings
        Gauge, jacket, frequency and depth.
    impedance_ohm : float
        Of the sound loop at the signal's frequency.
    slant_m : float
        Distance at which the receiver reacts beside the sound wire.
    length_m : float
        The fade is no longer than the conductor.

    Returns
    -------
    float
        Metres; the whole length where the impedance is not known.
    """
    radius_m = gauge_diameter_m(settings.wire_gauge_awg) / 2.0
    if not settings.insulation_thickness_m or not impedance_ohm > 0.0:
        return length_m
    capacitance = 2.0 * math.pi * _PERMITTIVITY / math.log1p(settings.insulation_thickness_m / radius_m)
    distance_m = settings.burial_depth_m + _PROBE_M
    charging = 2.0 * math.pi * settings.frequency_hz * capacitance * impedance_ohm
    return min(distance_m / slant_m / charging, length_m)


def _spread(middles_m: NDArray[np.float64], at_m: float, *, width_m: float) -> NDArray[np.float64]:
    """Spread a place over the cells around it, by how well it is known; sums to 1."""
    weights = np.exp(-0.5 * ((middles_m - at_m) / max(width_m, _CELL_M)) ** 2)
    spread: NDArray[np.float64] = weights / weights.sum()
    return spread


def _middle(shape: BaseGeometry) -> Point:
    """Take the point that a feature of a point layer is, or its middle."""
    return shape if isinstance(shape, shapely.Point) else shape.centroid


def _joints(point: Point, words: Mapping[str, Any], *, path: ConductorPath) -> tuple[float, ...]:
    """Find the joints of a splice; one between spools of a pair is in the conductor that its note names."""
    places = path.places_of(point)
    named = re.search(r"\bin conductor ([AB])\b", str(words.get("note") or ""))
    own = tuple(place for place in places if named and path.piece_at(place).conductor == named[1])
    return own or places
