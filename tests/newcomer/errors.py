"""Meet what goes wrong: every message says where, what was found, what must hold, and what to do."""

import geopandas

import parcelfence

lots = geopandas.read_file("sample_geodata/parcels.geojson")
attempts = {
    "no such lot": lambda: parcelfence.read_site(parcels=lots, select="parcel_no=31-99"),
    "no lot chosen": lambda: parcelfence.read_site(parcels=lots),
    "no such column": lambda: parcelfence.read_site(parcels=lots, select={"parcelno": "31-07"}),
    "no coordinate system": lambda: parcelfence.read_site(parcels=lots.set_crs(None, allow_override=True)),
    "a misspelt role": lambda: parcelfence.read_site(parcels=lots, select="parcel_no=31-07", building=lots),
    "a misspelt setting": lambda: parcelfence.Settings.from_words({"raech": "8 ft"}),
    "a unit that is none": lambda: parcelfence.Settings.from_words({"reach": "8 fot"}),
    "no room": lambda: parcelfence.plan(
        parcelfence.read_site(parcels=lots, select="parcel_no=31-06"), parcelfence.Settings(reach_m=20.0)
    ),
}
told = {}
for what, attempt in attempts.items():
    try:
        attempt()
    except parcelfence.ParcelFenceError as error:
        told[what] = error
        for fault in error.faults:
            assert fault.where, what
            assert fault.found, what
            assert fault.remedy or fault.must, what

assert list(told) == list(attempts)
assert "'parcel_no'" in str(told["no such column"])
assert "buildings" in str(told["a misspelt role"])
assert "reach" in str(told["a misspelt setting"])
assert "--" not in "".join(str(error) for error in told.values()), "in Python no message speaks of options"

# what is wrong with a design is no error: it stands in the plan
site = parcelfence.read_site(parcels=lots, select="parcel_no=31-07", marks="sample_geodata/marks_lines.geojson")
rules = {conflict.rule for conflict in parcelfence.plan(site, parcelfence.Settings(reach_m=2.4)).conflicts}
assert "utility-tolerance" in rules
