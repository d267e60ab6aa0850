"""All rules: the built-in ones by theme, and those of third parties by entry point."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from importlib.metadata import entry_points
from typing import TYPE_CHECKING, Final

from parcelfence.conflict import Conflict, in_order
from parcelfence.rules import (
    animal,
    buildings,
    data,
    electrical,
    gaps,
    joins,
    lot_lines,
    marks,
    narrow,
    outside,
    reach,
    shape,
    surroundings,
    transmitter,
    utilities,
)
from parcelfence.rules.place import nearest_place
from parcelfence.rules.rule import Rule

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence
    from importlib.metadata import EntryPoint

    from parcelfence.rules.draft import Draft

__all__ = ["BUILT_IN", "ENTRY_POINT_GROUP", "ThirdParty", "find_conflicts", "third_party_rules"]

ENTRY_POINT_GROUP: Final = "parcelfence.rules"
THIRD_PARTY_RULE: Final = "third-party-rule"
"""Under this name trouble with a third party's rule is reported."""

_SAME_PLACE_M: Final = 1.0
_SITE_WIDE: Final = frozenset({"transmitter-place", "no-roam", "area-limit", "drive-limit"})
_MEASURED_AFRESH: Final = frozenset({("narrow-passage", "parcel")})
"""Ground that stays outside has a rule of its own, which finds by trial what parts it from the rest."""
_DESIGN: Final = "design of the loop"
BUILT_IN: Final[tuple[Rule, ...]] = (
    *lot_lines.RULES,
    *buildings.RULES,
    *narrow.RULES,
    *utilities.RULES,
    *marks.RULES,
    *shape.RULES,
    *outside.RULES,
    *reach.RULES,
    *surroundings.RULES,
    *transmitter.RULES,
    *joins.RULES,
    *gaps.RULES,
    *electrical.RULES,
    *animal.RULES,
    *data.RULES,
)
"""Every rule of the package, theme by theme."""


@dataclass(frozen=True, kw_only=True)
class ThirdParty:
    """Rules that installed packages bring along.

    Parameters
    ----------
    rules : tuple of Rule
        Usable ones, in the order of their names.
    troubles : tuple of (str, str)
        What could not be used: the entry point with its distribution, and why.
    """

    rules: tuple[Rule, ...] = ()
    troubles: tuple[tuple[str, str], ...] = ()


def find_conflicts(draft: Draft, *, animals: Mapping[str, Draft] | None = None) -> tuple[Conflict, ...]:
    """Apply every rule to a draft.

    Parameters
    ----------
    draft : Draft
        The plan in progress.
    animals : mapping of str to Draft, optional
        The plan as each of several animals meets it, by name: rules that look at the signal are applied to these,
        and their rows name the animal.

    Returns
    -------
    tuple of Conflict
        In the order of :func:`parcelfence.conflict.in_order`.
    """
    found = [conflict for rule in BUILT_IN for conflict in _found(rule, draft, animals=animals or {})]
    others = third_party_rules()
    troubles = list(others.troubles)
    for rule in others.rules:
        try:
            found.extend(rule.conflicts(draft))
        except Exception as error:  # noqa: BLE001  (a third party's fault must not cost the person the plan)
            troubles.append((rule.id, f"it failed with {type(error).__name__}: {error}"))
    found.extend(_remark_conflicts(draft, found=found))
    found.extend(_trouble(draft, name=name, reason=reason) for name, reason in troubles)
    return in_order(found)


def _found(rule: Rule, draft: Draft, *, animals: Mapping[str, Draft]) -> Iterator[Conflict]:
    """Apply a rule once, or to each animal; what holds for several alike is one row that names them all."""
    if not (rule.of_signal and animals):
        yield from rule.conflicts(draft)
        return
    rows: dict[tuple[str, float | None], Conflict] = {}
    names: dict[tuple[str, float | None], list[str]] = {}
    for name, own in animals.items():
        for row in rule.conflicts(own):
            same = row.message, row.station_m
            rows.setdefault(same, row)
            names.setdefault(same, []).append(name)
    for same, row in rows.items():
        yield replace(row, message=f"{' and '.join(dict.fromkeys(names[same]))}: {row.message}")


@cache
def third_party_rules() -> ThirdParty:
    """Load the rules of entry-point group ``parcelfence.rules``, once; an entry point names a Rule or several."""
    return usable_rules(entry_points(group=ENTRY_POINT_GROUP))


def usable_rules(points: Iterable[EntryPoint]) -> ThirdParty:
    """Load entry points, and keep apart what can be used and what cannot.

    Parameters
    ----------
    points : iterable of EntryPoint
        Each must lead to a :class:`~parcelfence.rules.rule.Rule` or to an iterable of them.  A rule whose id is
        taken, by the package or by an earlier one, is not used.
    """
    owners = dict.fromkeys((rule.id for rule in BUILT_IN), "parcelfence")
    rules: list[Rule] = []
    troubles: list[tuple[str, str]] = []
    for point in sorted(points, key=lambda own: (own.name, own.value)):
        origin = point.dist.name if point.dist else point.value
        name = f"{point.name} of {origin}"
        try:
            loaded = _loaded(point)
        except Exception as error:  # noqa: BLE001  (see find_conflicts)
            troubles.append((name, f"it cannot be loaded: {type(error).__name__}: {error}"))
            continue
        for rule in loaded:
            if rule.id in owners:
                troubles.append((name, f"the id {rule.id!r} is taken by {owners[rule.id]}, whose rule stays"))
            else:
                owners[rule.id] = origin
                rules.append(rule)
    return ThirdParty(rules=tuple(rules), troubles=tuple(troubles))


def _loaded(point: EntryPoint) -> tuple[Rule, ...]:
    given = point.load()
    rules = (given,) if isinstance(given, Rule) else tuple(given)
    if not all(isinstance(rule, Rule) for rule in rules):
        msg = f"{point.value} is not a Rule"
        raise TypeError(msg)
    return rules


def _trouble(draft: Draft, *, name: str, reason: str) -> Conflict:
    return Conflict(
        rule=THIRD_PARTY_RULE,
        severity="note",
        message=f"The third party's rule {name} was not used: {reason}.",
        remedy="Tell its maker, update it or uninstall it; its check is missing from this plan.",
        geometry=draft.site.parcel.representative_point(),
        basis=ENTRY_POINT_GROUP,
        feature=name,
    )


def _remark_conflicts(draft: Draft, *, found: Sequence[Conflict]) -> tuple[Conflict, ...]:
    """Give the designer's remarks their place along the wire.

    Parameters
    ----------
    draft : Draft
        Its loop carries the remarks.
    found : sequence of Conflict
        What the rules found; a remark of the same rule, on the same feature and at the same place, is left out, and so
        is one about all of the site that a rule speaks of too.
    """
    fresh = [
        remark
        for remark in draft.loop.remarks
        if (remark.rule, remark.layer) not in _MEASURED_AFRESH and not any(_same(remark, one) for one in found)
    ]
    return tuple(_placed(draft, remark) for remark in fresh)


def _same(remark: Conflict, conflict: Conflict) -> bool:
    if remark.rule != conflict.rule or (remark.feature and conflict.feature and remark.feature != conflict.feature):
        return False
    return remark.rule in _SITE_WIDE or bool(remark.geometry.distance(conflict.geometry) <= _SAME_PLACE_M)


def _placed(draft: Draft, remark: Conflict) -> Conflict:
    place = nearest_place(draft.loop, remark.geometry)
    return replace(remark, basis=remark.basis or _DESIGN, station_m=place.station_m if place else None)
