"""Why the signal is weak along a stretch: causes whose effect can be computed, weighed by the points that were walked.

Each cause is a change of the wires, in a few sizes; the field of the changed wires predicts every walked point anew.
How well it does so is its likelihood, averaged over its sizes, so that a cause with many of them gains nothing by that.
The level stays free for each.  All causes are taken to be equally likely before.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from operator import itemgetter
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from scipy.special import logsumexp

from parcelfence.field.current import CurrentLoop, Receiver
from parcelfence.field.flux import inverse_field
from parcelfence.field.setting import longest_straight_middle
from parcelfence.service.causes import Surroundings, Variant, WeakStretch, variants
from parcelfence.service.walk_test import reach_beside_m

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

    from parcelfence.service.calibration import Calibration

__all__ = ["Cause", "SeparatingCheck", "SignalTrouble", "Surroundings", "explain_weak_signal"]

_FEWEST: Final = 2
"""One weak point alone is a mistake more often than a cause."""
_GROSS: Final = 0.05
"""Share of points that are mistaken, anywhere within :data:`_GROSS_WITHIN_M` (from memory of walk tests)."""
_GROSS_WITHIN_M: Final = 6.0
_COARSE_M: Final = 0.1
"""Causes come in sizes, and a real one is never quite of that shape: predictions are no finer than this."""
_ROW: Final = 5
"""Neighbours whose mean is judged: a fault worth finding is as long as five steps of a walk."""
_FAR_LOW: Final = 4.0
"""Standard errors that such a mean must be low: by chance 3 in 100,000."""
_MEDIAN_TO_SIGMA: Final = 1.4826
"""Of the absolute value of a normal deviate, by its definition."""
_TOLD_APART: Final = 10.0
"""Odds at which one cause is named alone."""


@dataclass(frozen=True, kw_only=True)
class Cause:
    """One cause, as likely as the points make it.

    Parameters
    ----------
    kind : str
        ``"mistaken"``, ``"facing-run"``, ``"metal"``, ``"unknown-metal"``, ``"bypassed-loop"``, ``"shorted-turn"``,
        ``"other-loop"``, ``"deeper"`` or ``"aside"``.
    about : str
        Feature that it concerns; empty if none.
    size : float
        Its most likely size: metres, or a share of the current.
    probability : float
        Among the causes that were computed.
    reach_m : float
        Reach that it predicts in the middle of the stretch, on the side that was walked; nan where none ends.
    """

    kind: str
    about: str
    size: float
    probability: float
    reach_m: float


@dataclass(frozen=True, kw_only=True)
class SeparatingCheck:
    """Where one more taped distance tells two causes apart.

    Parameters
    ----------
    station_m : float
        Chainage of the loop.
    inside : bool
        Side of the wire.
    reaches_m : tuple of float
        What the two most likely causes predict there.
    """

    station_m: float
    inside: bool
    reaches_m: tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class SignalTrouble:
    """A stretch along which the signal reaches less far than computed.

    Parameters
    ----------
    loop : int
        Loop on which it lies.
    start_m, end_m : float
        Chainages between which it lies.
    points : tuple of int
        Walked points that are weak there.
    shortfall_m : float
        Median of what is missing.
    computed_m : float
        Reach in the middle of the stretch by the wire as drawn, at the level of the rest of the loop.
    causes : tuple of Cause
        The most likely first.
    check : SeparatingCheck or None
        The most telling further measurement; None where none tells.
    """

    loop: int
    start_m: float
    end_m: float
    points: tuple[int, ...]
    shortfall_m: float
    computed_m: float
    causes: tuple[Cause, ...]
    check: SeparatingCheck | None

    @property
    def clear(self) -> bool:
        """Whether the most likely cause stands out from the next."""
        return len(self.causes) < 2 or self.causes[0].probability >= _TOLD_APART * self.causes[1].probability  # noqa: PLR2004


@dataclass(frozen=True, kw_only=True, eq=False)
class _Walk:
    """What all variants are held against."""

    points: NDArray[np.float64]
    receiver: Receiver
    error_m: float
    weak: NDArray[np.bool_]
    stretch: WeakStretch
    inside: bool

    def fit(self, variant: Variant) -> tuple[float, float]:
        """Log likelihood of the points under a variant, at its best level, and that level as a slant distance."""
        settings_m, slopes = self._settings(variant)
        usable = np.isfinite(settings_m) & (slopes > 0.0)
        order = np.argsort(settings_m[usable])
        middle_m = float(settings_m[usable][order][len(order) // 2])
        levels_m = middle_m * np.linspace(0.75, 1.3, 111)
        with np.errstate(all="ignore"):
            residuals_m = np.where(usable, (settings_m - levels_m[:, None]) / slopes, np.inf)
        fits = (
            (1.0 - _GROSS)
            / (self.error_m * math.sqrt(2.0 * math.pi))
            * np.exp(-0.5 * (residuals_m / self.error_m) ** 2)
        )
        likelihood = np.log(fits + _GROSS / _GROSS_WITHIN_M).sum(axis=1)
        best = int(likelihood.argmax())
        return float(likelihood[best]), float(levels_m[best])

    def _settings(self, variant: Variant) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Give the level that each point names, as a slant distance, and how fast it changes on the ground."""
        inverse, gradient = inverse_field(self.points, variant.wires, receiver=self.receiver)
        if variant.deeper_m:
            low = Receiver(self.receiver.reach_m, self.receiver.height_m + variant.deeper_m)
            deep, deep_gradient = inverse_field(self.points, variant.wires, receiver=low)
            share = low.slant_m / self.receiver.slant_m
            inverse = np.where(self.weak, deep * share, inverse)
            gradient = np.where(self.weak[:, None], deep_gradient * share, gradient)
        return inverse * self.receiver.slant_m, np.hypot(*gradient.T) * self.receiver.slant_m

    def reach_m(self, variant: Variant, *, level_m: float, station_m: float, inside: bool) -> float:
        """Reach that a variant predicts beside a place of the loop as drawn."""
        height_m = self.receiver.height_m + variant.deeper_m
        reach_m = math.sqrt(max(level_m**2 - height_m**2, 0.01))
        point = self.stretch.own.ring.interpolate(station_m % self.stretch.own.length_m)
        place, inward = longest_straight_middle(self.stretch.own, at=(point.x, point.y))
        receiver = Receiver(reach_m, height_m)
        found = reach_beside_m(place, inward if inside else -inward, loops=variant.wires, receiver=receiver)
        return math.nan if found is None else found


def explain_weak_signal(
    points_xy: NDArray[np.float64],
    loops: Sequence[CurrentLoop],
    *,
    receiver: Receiver,
    found: Calibration,
    around: Surroundings,
) -> tuple[SignalTrouble, ...]:
    """Explain every stretch along which the walked points lie nearer to the wire than computed.

    Parameters
    ----------
    points_xy : ndarray, shape (n, 2)
        Walked points.
    loops : sequence of CurrentLoop
        Wires as they are drawn.
    receiver : Receiver
        As set.
    found : Calibration
        The fit to these points, which tells the weak ones.
    around : Surroundings
        What lies near.

    Returns
    -------
    tuple of SignalTrouble
        One for each row of two weak points or more on one side of a loop, in the order of the loop.
    """
    points = np.asarray(points_xy, dtype=np.float64)
    rings = [loop.ring for loop in loops]
    nearest = np.stack([shapely.distance(ring, shapely.points(points)) for ring in rings]).argmin(axis=0)
    rows: list[tuple[int, NDArray[np.int64]]] = []
    for number, loop in enumerate(loops):
        inside = shapely.contains(shapely.Polygon(loop.ring), shapely.points(points))
        for side in (True, False):
            own = np.flatnonzero((nearest == number) & (inside == side))
            station_m = np.array([loop.ring.project(shapely.Point(points[index])) for index in own])
            rows.append((number, own[np.argsort(station_m, kind="stable")]))
    noise_m = _noise_m([found.residuals_m[order] for _, order in rows], scale_m=found.scale_m)
    weak = found.outliers & (found.residuals_m < 0.0)
    for _, order in rows:
        weak[order] |= _low_in_a_row(found.residuals_m[order], noise_m=noise_m)
    troubles = []
    for number, order in rows:
        for group in _groups(weak[order]):
            chosen = order[group]
            walk = _walk(points, tuple(loops), receiver=receiver, noise_m=noise_m, loop=number, chosen=chosen)
            troubles.append(_explained(walk, chosen=chosen, found=found, around=around))
    return tuple(troubles)


def _noise_m(rows: Sequence[NDArray[np.float64]], *, scale_m: float) -> float:
    """Give what neighbouring points differ by chance: a weak stretch moves both of them and does not count in it."""
    steps_m = np.abs(np.concatenate([np.diff(row[np.isfinite(row)]) for row in rows]))
    return min(float(np.median(steps_m)) * _MEDIAN_TO_SIGMA / math.sqrt(2.0), scale_m) if len(steps_m) else scale_m


def _low_in_a_row(residuals_m: NDArray[np.float64], *, noise_m: float) -> NDArray[np.bool_]:
    """Tell points in the middle of a row of neighbours that are low together, though none may stand out alone."""
    if len(residuals_m) < _ROW:
        return np.zeros(len(residuals_m), dtype=bool)
    half = _ROW // 2
    around = np.concatenate([residuals_m[-half:], residuals_m, residuals_m[:half]])
    mean_m = np.convolve(around, np.full(_ROW, 1.0 / _ROW), mode="valid")
    low: NDArray[np.bool_] = mean_m < -max(_FAR_LOW * noise_m / math.sqrt(_ROW), _COARSE_M)
    return low & (residuals_m < mean_m / 2.0)  # beyond the end of the row a point is not low itself


def _groups(weak: NDArray[np.bool_]) -> list[NDArray[np.int64]]:
    """Part weak points, in the order of a closed loop, into rows of neighbours."""
    count = len(weak)
    if not weak.any():
        return []
    if weak.all():
        return [np.arange(count)]
    turn = int(np.flatnonzero(~weak)[0])
    rolled = np.roll(weak, -turn)
    starts = np.flatnonzero(np.diff(rolled.astype(int), prepend=0) == 1)
    ends = np.flatnonzero(np.diff(rolled.astype(int), append=0) == -1) + 1
    rows = [(np.arange(start, end) + turn) % count for start, end in zip(starts, ends, strict=True)]
    return [row for row in rows if len(row) >= _FEWEST]


def _walk(
    points: NDArray[np.float64],
    loops: tuple[CurrentLoop, ...],
    *,
    receiver: Receiver,
    noise_m: float,
    loop: int,
    chosen: NDArray[np.int64],
) -> _Walk:
    ring, length_m = loops[loop].ring, loops[loop].length_m
    stations_m = np.unwrap(np.array([ring.project(shapely.Point(points[index])) for index in chosen]), period=length_m)
    weak = np.zeros(len(points), dtype=bool)
    weak[chosen] = True
    inside = shapely.contains(shapely.Polygon(ring), shapely.points(points[chosen]))
    return _Walk(
        points=points,
        receiver=receiver,
        error_m=math.hypot(noise_m, _COARSE_M),
        weak=weak,
        stretch=WeakStretch(
            loops=loops,
            loop=loop,
            start_m=float(stations_m.min()) - receiver.reach_m,
            end_m=float(stations_m.max()) + receiver.reach_m,
            reach_m=receiver.reach_m,
        ),
        inside=bool(inside.mean() >= 0.5),  # noqa: PLR2004  (half of them)
    )


def _explained(walk: _Walk, *, chosen: NDArray[np.int64], found: Calibration, around: Surroundings) -> SignalTrouble:
    fits: dict[tuple[str, str], list[tuple[float, float, Variant]]] = {}
    for variant in variants(walk.stretch, around):
        likelihood, level_m = walk.fit(variant)
        fits.setdefault((variant.kind, variant.about), []).append((likelihood, level_m, variant))
    marginal = np.array([logsumexp([one[0] for one in sizes]) - math.log(len(sizes)) for sizes in fits.values()])
    probability = np.exp(marginal - logsumexp(marginal))
    best = [max(sizes, key=itemgetter(0)) for sizes in fits.values()]
    middle_m = (walk.stretch.start_m + walk.stretch.end_m) / 2.0
    order = np.argsort(-probability, kind="stable").tolist()
    drawn = next(one for one in best if one[2].kind == "mistaken")

    def reach_m(number: int, station_m: float, *, inside: bool) -> float:
        _, level_m, variant = best[number]
        return walk.reach_m(variant, level_m=level_m, station_m=station_m, inside=inside)

    return SignalTrouble(
        loop=walk.stretch.loop,
        start_m=walk.stretch.start_m % walk.stretch.own.length_m,
        end_m=walk.stretch.end_m % walk.stretch.own.length_m,
        points=tuple(chosen.tolist()),
        shortfall_m=float(-np.nanmedian(found.residuals_m[chosen])),
        computed_m=walk.reach_m(drawn[2], level_m=drawn[1], station_m=middle_m, inside=walk.inside),
        causes=tuple(
            Cause(
                kind=best[number][2].kind,
                about=best[number][2].about,
                size=best[number][2].size,
                probability=float(probability[number]),
                reach_m=reach_m(number, middle_m, inside=walk.inside),
            )
            for number in order
        ),
        check=_check(walk, reach_m, first=order[0], second=order[1]),
    )


def _check(walk: _Walk, reach_m: Callable[..., float], *, first: int, second: int) -> SeparatingCheck | None:
    """Find where the two most likely causes predict reaches that differ most."""
    found: list[tuple[float, SeparatingCheck]] = []
    for station_m in np.linspace(walk.stretch.start_m, walk.stretch.end_m, 9).tolist():
        for inside in (True, False):
            pair = reach_m(first, station_m, inside=inside), reach_m(second, station_m, inside=inside)
            apart_m = abs(pair[0] - pair[1])
            if apart_m > 2.0 * walk.error_m:  # two standard errors: less is not seen in one measurement
                check = SeparatingCheck(station_m=station_m % walk.stretch.own.length_m, inside=inside, reaches_m=pair)
                found.append((apart_m, check))
    return max(found, key=itemgetter(0))[1] if found else None
