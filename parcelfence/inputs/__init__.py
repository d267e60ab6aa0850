"""Files to tidy tables: the reader, the repairs, the recognition of utility kinds, and every fault of a file at once."""
