"""Survey points in CSV, with and without a heading."""

from __future__ import annotations

import pytest

from parcelfence.inputs.survey_csv import read_survey_csv

ROWS = "1,988488.595,919123.456,1196.19,GAS MK\n2,988510.751,919134.575,,TEL MK\n"


def places(content: str) -> list[tuple[float, float]]:
    layer = read_survey_csv(content.encode(), name="shots.csv")
    return [(feature.geometry.x, feature.geometry.y) for feature in layer.features]  # type: ignore[union-attr]


def test_the_survey_order_needs_no_heading() -> None:
    layer = read_survey_csv(ROWS.encode(), name="shots.csv")
    assert places(ROWS) == [(919123.456, 988488.595), (919134.575, 988510.751)]
    assert layer.fields == ("point", "elevation", "description")
    assert [feature.attributes["elevation"] for feature in layer.features] == [1196.19, None]
    assert [feature.attributes["description"] for feature in layer.features] == ["GAS MK", "TEL MK"]
    assert layer.crs is None


@pytest.mark.parametrize(
    "content",
    [
        "Point,Northing,Easting,Elev,Desc\n7,20,10,1,GAS",
        "pt;Easting (ft);Northing (ft);code\n7;10;20;GAS",
        "x,y,utility\n10,20,gas",
        "# from the data collector\n\nname\tlongitude\tlatitude\nA\t10\t20\n",
        'P1,"20.0","10.0",,"GAS, plastic"',
        "\ufeff1,20,10",
        "1;20,0;10,0;1.196,19;GAS",
    ],
)
def test_headings_separators_and_decimal_commas(content: str) -> None:
    assert places(content) == [(10.0, 20.0)]


def test_further_columns_are_kept() -> None:
    layer = read_survey_csv(b"point,n,e,z,d,ticket\n1,20,10,0,GAS,Q26\n", name="shots.csv")
    assert layer.features[0].attributes["ticket"] == "Q26"


def test_a_heading_between_the_points_is_a_broken_row_not_the_end() -> None:
    layer = read_survey_csv((ROWS + "PT,N,E,Z,D\n" + ROWS).encode(), name="shots.csv")
    assert [bool(feature.fault) for feature in layer.features] == [False, False, True, False, False]
    assert "line 3" in layer.features[2].fault


def test_a_sign_for_inches_swallows_no_rows() -> None:
    content = '1,20,10,0,"6" GAS\n2,20,11,0,6" GAS\n3,20,12,0,"WTR"\n'
    assert places(content) == [(10.0, 20.0), (11.0, 20.0), (12.0, 20.0)]
    left_open = '1,20,10,0,"6 in GAS\n2,20,11,0,GAS\n'
    assert places(left_open) == [(10.0, 20.0), (11.0, 20.0)]
