from __future__ import annotations

from pathlib import Path

import pytest
from pyproj import CRS
from shapely import box

from parcelfence.errors import SelectionError
from parcelfence.inputs.source import Source
from parcelfence.inputs.table import Record, Table
from parcelfence.site.selection import select_parcels

LOTS = (
    {"parcel_no": "31-07", "pid": 7, "acres": 2.0},
    {"parcel_no": "31-08", "pid": 8, "acres": None},
    {"parcel_no": "31-07", "pid": 9, "acres": 3.5},
)


def table(*lots: dict[str, object]) -> Table:
    return Table(
        source=Source(role="parcels", path=Path("lots.geojson")),
        crs=CRS.from_epsg(4326),
        records=tuple(
            Record(position=position, geometry=box(position, 0, position + 1, 1), attributes=lot)
            for position, lot in enumerate(lots)
        ),
        fields=tuple(lots[0]) if lots else (),
    )


@pytest.mark.parametrize(
    ("choice", "positions"),
    [
        ("parcel_no=31-08", [1]),
        ("parcel_no=31-07", [0, 2]),
        ("PARCEL_NO=31-08", [1]),
        ("pid=8", [1]),
        ("pid=8.0", [1]),
        (" pid = 9 ", [2]),
        ("acres=3.5", [2]),
        ("feature=2", [1]),
    ],
)
def test_parcels_are_found_by_text_or_number(choice: str, positions: list[int]) -> None:
    assert [record.position for record in select_parcels(table(*LOTS), [choice])] == positions


def test_several_choices_are_taken_together() -> None:
    assert len(select_parcels(table(*LOTS), ["pid=7", "pid=8"])) == 2


def test_a_single_parcel_needs_no_choice() -> None:
    assert len(select_parcels(table(LOTS[0]), [])) == 1


@pytest.mark.parametrize(
    ("choices", "words"),
    [
        ([], ["3 parcels", "`select`", "parcel_no=31-07"]),
        (["pidd=7"], ["no field 'pidd'", "did you mean 'pid'"]),
        (["parcel_no=31-70"], ["no parcel has parcel_no = '31-70'", "did you mean"]),
        (["acres=9"], ["1 parcels have no acres"]),
        (["31-07"], ["FIELD=VALUE"]),
        (["=7"], ["FIELD=VALUE"]),
    ],
)
def test_what_cannot_be_found_is_said_with_near_matches(choices: list[str], words: list[str]) -> None:
    with pytest.raises(SelectionError) as caught:
        select_parcels(table(*LOTS), choices)
    for word in words:
        assert word in str(caught.value).replace("Did", "did")
