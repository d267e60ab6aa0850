"""Everything to conflicts: one small module per theme, which measures the finished geometry afresh."""
