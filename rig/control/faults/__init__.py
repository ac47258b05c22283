"""Everything that can go wrong: one table with typed causes and remedies."""
