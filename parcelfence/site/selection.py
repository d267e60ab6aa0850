"""The selection: which records of the parcel table make up the property."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final

from parcelfence.errors import Fault, SelectionError, near_matches
from parcelfence.inputs.raw import feature_label
from parcelfence.site.features import written

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parcelfence.inputs.table import LeftOut, Record, Table

__all__ = ["BY_POSITION", "answers", "chosen_by", "select_parcels"]

BY_POSITION: Final = "feature"
"""Stands for the place in the file, from 1, where parcels have no usable attribute."""
_FEW = 12


def chosen_by(select: str | Sequence[str] | Mapping[str, object]) -> tuple[str, ...]:
    """Write a choice as parcels are chosen by it: ``FIELD=VALUE`` each.

    Raises
    ------
    SelectionError
        If a mapping names several fields, which would leave open whether one of them is to answer or all.

    Examples
    --------
    >>> chosen_by({"parcel_no": ["31-05", "31-07"]})
    ('parcel_no=31-05', 'parcel_no=31-07')
    """
    if isinstance(select, str):
        return (select,)
    if not isinstance(select, Mapping):
        return tuple(select)
    if len(select) > 1:
        found, remedy = f"it names several fields ({', '.join(map(str, select))})", "choose by the values of one field"
        raise SelectionError(Fault(where="select", found=found, remedy=remedy))
    return tuple(
        f"{field}={written(value)}"
        for field, values in select.items()
        for value in (values if isinstance(values, list | tuple) else [values])
    )


def select_parcels(table: Table, choices: Sequence[str]) -> tuple[Record, ...]:
    """Find the records that a person means.

    Parameters
    ----------
    table : Table
        All parcels.
    choices : sequence of str
        Each ``FIELD=VALUE``; records that answer to any of them are taken together as one property.

    Returns
    -------
    tuple of Record
        At least one, in the order of the file.

    Raises
    ------
    SelectionError
        If no choice was made among several parcels, if a field or a value does not exist.
    """
    if not choices:
        if len(table.records) == 1:
            return table.records
        raise SelectionError(
            Fault(
                where=table.source.name,
                found=f"it holds {len(table.records)} parcels and none was chosen",
                must="one property is planned at a time",
                remedy=f"choose with `select` FIELD=VALUE; {_offer(table)}",
            )
        )
    chosen = {record.position for choice in choices for record in _answering(table, choice)}
    return tuple(record for record in table.records if record.position in chosen)


def answers(row: Record | LeftOut, choices: Sequence[str]) -> bool:
    """Tell whether a record answers to any of some choices, each ``FIELD=VALUE`` with the name as it is in the file."""
    for choice in choices:
        name, _, value = choice.partition("=")
        name, value = name.strip(), value.strip()
        by_position = name == BY_POSITION and name not in row.attributes
        if _same(row.position + 1 if by_position else row.attributes.get(name), value):
            return True
    return False


def _answering(table: Table, choice: str) -> list[Record]:
    name, sign, value = choice.partition("=")
    name, value = name.strip(), value.strip()
    if not sign or not name:
        raise SelectionError(
            Fault(where="`select`", found=f"{choice!r} is not of the form FIELD=VALUE", remedy=_offer(table))
        )
    field = _field(table, name)
    exact = [f"{field}={value}"]
    found = [record for record in table.records if answers(record, exact)]
    if not found:
        _refuse_left_out([row for row in table.left_out.values() if answers(row, exact)], table=table, choice=choice)
        there = (record.attributes.get(field) for record in table.records)
        values = [written(one) for one in there if one is not None]
        lacking = len(table.records) - len(values)
        also = f"; {lacking} parcels have no {field}" if lacking else ""
        raise SelectionError(
            Fault(
                where=table.source.name,
                found=f"no parcel has {field} = {value!r}{also}",
                remedy=near_matches(value, values),
            )
        )
    return found


def _refuse_left_out(rows: Sequence[LeftOut], *, table: Table, choice: str) -> None:
    """Say of a parcel that is in the file, but cannot be used, that it is there, and what is wrong with it."""
    if rows:
        reason = rows[0].reason.removeprefix("it ")
        raise SelectionError(
            Fault(
                where=table.source.name,
                feature=feature_label(rows[0].position, rows[0].attributes, id_field=table.source.id_field),
                found=f"the parcel with {choice.strip()} exists, but {reason}",
                must="a property needs an outline with an area",
                remedy="get its outline from whoever keeps the parcels, or draw it from the deed",
            )
        )


def _field(table: Table, name: str) -> str:
    if name in table.fields or name == BY_POSITION:
        return name
    folded = [field for field in table.fields if field.casefold() == name.casefold()]
    if len(folded) == 1:
        return folded[0]
    raise SelectionError(
        Fault(
            where=table.source.name,
            found=f"there is no field {name!r}",
            remedy=near_matches(name, [*table.fields, BY_POSITION], most=_FEW),
        )
    )


def _same(found: Any, wanted: str) -> bool:
    if found is None:
        return False
    if written(found) == wanted:
        return True
    if isinstance(found, str):
        return False
    try:
        return float(found) == float(wanted)
    except (TypeError, ValueError):
        return False


def _offer(table: Table) -> str:
    first = table.records[0] if table.records else None
    examples = [
        f"{field}={written(first.attributes[field])}"
        for field in table.fields
        if first is not None and first.attributes.get(field) is not None
    ]
    return "for example " + " or ".join([*examples[:2], f"{BY_POSITION}=1"])
