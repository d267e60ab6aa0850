"""Plan to files: layers, GeoPackage, GeoJSON, the map and the sheets that a crew carries."""
