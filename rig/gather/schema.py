"""Columns of the dataset: those of `rig study export`, and what several studies need besides.

`rig` and `month` are not in the files but in the names of their folders (Hive's layout), where
engines look for what a dataset is partitioned by. Columns are only ever added; VERSION counts up
when one is, and a program that reads a dataset takes any of its own major format.
"""

from hashlib import blake2b
from typing import Any
from urllib.parse import quote

from rig.gather.extra import needed
from rig.study.export import columns as exported
from rig.study.folder.catalogue import Catalogue

FORMAT = "tilt-slides"
VERSION = 1
PARTITIONS = ("rig", "month")
NOT_KNOWN = "__HIVE_DEFAULT_PARTITION__"
"""What stands in a folder's name for a value that is not known (Hive's own)."""

MORE: dict[str, type] = {
    "study_id": str,
    "bag_shared_as": str,
    "board_shared_as": str,
    "slid": bool,
    "in_doubt": bool,
    "treatment_lines": str,
    "throws_before": int,
}
"""Columns behind those of the export."""


def columns() -> dict[str, type]:
    """Name and type (str, float, int or bool) of every column in the files, in order."""
    kept = {name: kind for name, kind in exported().items() if name not in PARTITIONS}
    return kept | MORE


def schema() -> Any:
    """The same for pyarrow; the version is in the metadata of every file."""
    pa = needed("pyarrow")
    kinds = {str: pa.string(), float: pa.float64(), int: pa.int64(), bool: pa.bool_()}
    fields = [(name, kinds[kind]) for name, kind in columns().items()]
    return pa.schema(fields, metadata={"format": FORMAT, "version": str(VERSION)})


def study_id_of(catalogue: Catalogue) -> str:
    """The same for a study wherever its folder lies; another one for another of its name."""
    made = f"{catalogue.name}\0{catalogue.made_at}".encode()
    return blake2b(made, digest_size=6).hexdigest()


def month_of(started_at: str) -> str | None:
    """`2026-05`; None for a time that can't be read."""
    return started_at[:7] if started_at[4:5] == "-" else None


def folder_of(rig: str | None, month: str | None) -> str:
    """The folder of a partition, from the dataset's `slides`."""
    values = (NOT_KNOWN if value is None else quote(value, safe="") for value in (rig, month))
    return "/".join(f"{name}={value}" for name, value in zip(PARTITIONS, values, strict=True))
