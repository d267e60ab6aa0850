"""Choose settings in a file, by an option and in Python; see where each value comes from."""

import json
import subprocess
import sys
from pathlib import Path

import parcelfence

Path("mine.toml").write_text('reach = "5 ft"\nbend_radius = "4 ft"\nflag_spacing_max = 2.5\n', encoding="utf-8")
words = ["sample_geodata/SITE.toml", "--settings", "mine.toml", "--slack", "3 %", "--format", "json"]
program = [sys.executable, "-m", "parcelfence"]
shown = subprocess.run([*program, "settings", *words], check=True, capture_output=True, text=True)
rows = {row["setting"]: (row["value"], row["source"]) for row in json.loads(shown.stdout)}
assert rows["reach"] == ("1.524 m", "mine.toml"), "it wins over the 8 ft of the project file"
assert rows["slack"] == ("3 %", "option"), rows["slack"]
assert rows["spare"] == ("10 %", "default")

settings = parcelfence.Settings.from_words({"reach": "5 ft", "bend_radius": "4 ft", "flag_spacing_max": 2.5})
assert settings == parcelfence.Settings(reach_m=1.524, bend_radius_m=1.2192, flag_spacing_max_m=2.5, units="us")
site = parcelfence.read_site(parcels="sample_geodata/parcels.geojson", select="parcel_no=31-05")
small, large = (parcelfence.plan(site, settings.replaced(reach_m=reach_m)) for reach_m in (1.0, 3.0))
assert small.zones.free_ground.area > large.zones.free_ground.area
sparse = parcelfence.plan(site, settings.replaced(reach_m=1.0, flag_spacing_max_m=4.0))
assert len(small.take_off.flags) > len(sparse.take_off.flags) > 10
