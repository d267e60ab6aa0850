"""Loop to counts: flags, stations, lengths and material."""
