"""Slides of many rigs and studies in one Parquet dataset; `DATASET.md` says what is in it."""
