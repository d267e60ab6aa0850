"""Screen a file of parcels and join what was found back to it, by the file and by a table."""

import subprocess
import sys

import geopandas

import parcelfence

parcels = geopandas.read_file("sample_geodata/parcels.geojson")
words = ["screen", "sample_geodata/parcels.geojson", "--buildings", "sample_geodata/buildings.geojson"]
subprocess.run(
    [*(sys.executable, "-m", "parcelfence"), *words, "--reach", "6 ft", "--keep", "parcel_no", "--out", "rows.gpkg"],
    check=True,
    capture_output=True,
)
rows = geopandas.read_file("rows.gpkg", ignore_geometry=True)
joined = parcels.merge(rows, on="parcel_no", how="left")
assert len(joined) == len(parcels)
assert joined["status"].notna().all()
planned = joined[joined["status"] == "planned"]
assert (planned["free_m2"] < planned.to_crs(planned.estimate_utm_crs()).area).all()

# the same from a table, whose index comes back
small = parcels.set_index("parcel_no").loc[["31-05", "31-12"]]
found = parcelfence.loops(small, parcelfence.Settings.from_words({"reach": "6 ft"}))
both = small.join(found.drop(columns="geometry"))
assert list(both.index) == ["31-05", "31-12"]
assert both["free_m2"].notna().all()
