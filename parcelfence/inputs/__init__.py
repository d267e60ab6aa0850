"""Files to tidy tables: the reader, the repairs, the recognition of utility kinds, and all faults of a file at once."""
