"""The slide table: the only way from a study's files to numbers."""
