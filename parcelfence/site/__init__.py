"""Tables to a site: the local metric CRS, the selected parcel, and where everything came from, how accurately."""
