"""Plan a yard from files of one's own, with columns that nobody foresaw, and look at what came out."""

import json
import subprocess
import sys

import geopandas
import pandas as pd
import shapely

parcelfence = [sys.executable, "-m", "parcelfence"]

# what a county hands out: metres of UTM 18N, a column PIN, houses in another file and another system
lots = geopandas.GeoDataFrame(
    {"PIN": ["0117", "0118"]},
    geometry=[shapely.box(430000, 4730000, 430060, 4730050), shapely.box(430060, 4730000, 430110, 4730050)],
    crs="EPSG:32618",
)
houses = geopandas.GeoDataFrame(geometry=[shapely.box(430022, 4730018, 430036, 4730028)], crs="EPSG:32618")
lots.to_file("lots.gpkg")
houses.to_crs("EPSG:4326").to_file("houses.geojson")
# a surveyor's shots on the gas line, in the order of a data collector: point, northing, easting, elevation, description
shots = [[n + 1, 4730000 + 10 * n, 430050 + n, "", "GAS"] for n in range(6)]
pd.DataFrame(shots).to_csv("marks.csv", header=False, index=False)

looked = subprocess.run(
    [*parcelfence, "inspect", "lots.gpkg", "houses.geojson", "marks.csv", "--crs", "EPSG:32618", "--json"],
    check=True,
    capture_output=True,
    text=True,
)
roles = [layer["role"] for layer in json.loads(looked.stdout)["layers"]]
assert roles == ["parcels", "buildings", "marks"], roles

words = ["--parcels", "lots.gpkg", "--buildings", "houses.geojson", "--marks", "marks.csv", "--crs", "EPSG:32618"]
done = subprocess.run(
    [*parcelfence, "plan", *words, "--select", "PIN=0117", "--reach", "6 ft", "--units", "us", "--out", "my-plan"],
    check=False,
    capture_output=True,
    text=True,
)
assert done.returncode in {0, 3}, done.stderr  # 3: something must be fixed
wire = geopandas.read_file("my-plan/plan.gpkg", layer="wire")
crossings = geopandas.read_file("my-plan/plan.gpkg", layer="crossings")
assert not wire.empty
assert set(crossings["kind"]) == {"gas"}
lot = lots.to_crs(wire.crs).geometry.iloc[0]
assert wire.within(lot).all()
