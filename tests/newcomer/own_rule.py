"""Add a rule of one's own, as DEVELOPERS.md shows, and find its rows among the others."""

import sys
from pathlib import Path

PACKAGE = Path("installed")  # where `pip install .` of a package of one's own would put it
PACKAGE.mkdir()
(PACKAGE / "porch_rules.py").write_text('''
"""Keep the wire away from doors."""

from parcelfence.conflict import Conflict
from parcelfence.rules.rule import rule

LEAST_M = 60.0


@rule(
    "door-wire",
    theme="buildings",
    severity="caution",
    summary="No wire within sixty metres of a door.",
    basis="a whim, for this example",
)
def door_wire(draft):
    """Measure the distance of the wire to each door."""
    doors = draft.site.doors
    found = draft.near([door.geometry for door in doors], within_m=LEAST_M)
    for door, stretches in zip(doors, found, strict=True):
        for stretch in stretches:
            yield Conflict(
                message=f"The wire comes within {draft.wording.length(stretch.measured)} of door {door.id}.",
                remedy="Lead the wire around it.",
                geometry=stretch.line,
                station_m=stretch.station_m,
                measured=stretch.measured,
                limit=LEAST_M,
                layer="doors",
                feature=door.id,
            )
''')
INFO = PACKAGE / "porch_rules-1.0.dist-info"
INFO.mkdir()
(INFO / "METADATA").write_text("Metadata-Version: 2.1\nName: porch-rules\nVersion: 1.0\n")
(INFO / "entry_points.txt").write_text("[parcelfence.rules]\nporch = porch_rules:door_wire\n")
sys.path.insert(0, str(PACKAGE.resolve()))

import parcelfence  # noqa: E402

site = parcelfence.read_site(
    parcels="sample_geodata/parcels.geojson",
    buildings="sample_geodata/buildings.geojson",
    doors="sample_geodata/doors.geojson",
    select="parcel_no=31-07",
)
plan = parcelfence.plan(site, parcelfence.Settings(reach_m=2.0))
rows = plan.layers()["conflicts"]
mine = rows[rows["rule"] == "door-wire"]
assert len(mine), "the rule was called"
assert (mine["measured"] < 60.0).all()
assert set(mine["feature"]) <= {door.id for door in site.doors}
assert "third-party-rule" not in set(rows["rule"]), "the rule was loaded and did not fail"
