"""A round robin: one shared bag face, measured by several rigs and readers (ISO 5725-2)."""

from collections.abc import Iterable
from pathlib import Path
from statistics import stdev
from typing import NamedTuple

from rig.errors import BadInputError
from rig.gather.read import Row, studies_in
from rig.settings.model import Settings
from rig.statistics.precision import Precision, precision_of


class Cell(NamedTuple):
    """The longest series of one rig or reader: repeats are within one mounting."""

    who: str
    study: str
    angles_deg: tuple[float, ...]

    @property
    def mean_deg(self) -> float:
        """Mean slide angle."""
        return sum(self.angles_deg) / len(self.angles_deg)

    @property
    def sd_deg(self) -> float | None:
        """Standard deviation; None for one slide."""
        return stdev(self.angles_deg) if len(self.angles_deg) > 1 else None


class Robin(NamedTuple):
    """A round robin of one bag face."""

    bag: str
    face: str
    cells: tuple[Cell, ...]
    precision: Precision


def round_robin(folder: Path, bag: str, face: str | None = None) -> Robin:
    """Repeatability and reproducibility of a bag that several measured, untreated.

    Args:
        folder: of the dataset.
        bag: its `shared_as`.
        face: of it; may be left out if only one was measured.

    Raises:
        BadInputError: no dataset, no such bag, several faces, or too few measured it.
    """
    rows = [
        row
        for _, of_study in studies_in(folder)
        for row in of_study
        if row["bag_shared_as"] == bag and row["valid"] and not row["in_doubt"]
    ]
    faces = sorted({row["face"] for row in rows if row["face"]})
    if not rows:
        shared = {row["bag_shared_as"] for _, of in studies_in(folder) for row in of} - {None}
        there = ", ".join(sorted(shared)) or "none; say `shared_as` in each study.toml"
        raise BadInputError(f"Nobody in {folder} measured a shared bag {bag!r} (known: {there}).")
    if face is None and len(faces) > 1:
        raise BadInputError(f"Both {' and '.join(faces)} of {bag} were measured; choose by --face.")
    chosen = face or faces[0]
    # Treatments change the bag, and with it what others would have to agree on.
    untreated = [row for row in rows if row["face"] == chosen and not row["treatments"]]
    cells = _cells(untreated)
    precision = precision_of({cell.who: cell.angles_deg for cell in cells})
    if precision is None:
        raise BadInputError(
            f"{bag}, {chosen} was measured untreated by {len(cells)} rig or reader; two at least"
            " are needed, and one of them twice in a series."
        )
    return Robin(bag, chosen, cells, precision)


def _cells(rows: Iterable[Row]) -> tuple[Cell, ...]:
    series: dict[str, dict[tuple[str, ...], list[float]]] = {}
    for row in rows:
        one = (row["study"], row["session"] or "", row["series"] or "")
        series.setdefault(_who(row), {}).setdefault(one, []).append(row["onset_angle_deg"])
    found = []
    for who, of in sorted(series.items()):
        # The first of the longest, so that the same slides give the same table.
        place, angles = max(sorted(of.items()), key=lambda item: len(item[1]))
        found.append(Cell(who, place[0], tuple(angles)))
    return tuple(found)


def _who(row: Row) -> str:
    if row["source"] == "hand":
        return str(row["reader"])
    # A name that nobody chose says nothing about which rig it is.
    return f"{row['rig']} of {row['study']}" if row["rig"] == Settings().name else str(row["rig"])
