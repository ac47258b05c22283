"""A dataset as other owners' experience: its studies, reduced for the model of one's own."""

from collections.abc import Iterator
from hashlib import blake2b
from pathlib import Path, PurePosixPath
from typing import Any
from urllib.parse import unquote

from rig.errors import BadInputError
from rig.gather.dataset import CHECK_BYTES, DatasetUnit, read_about, read_units
from rig.gather.extra import needed
from rig.gather.schema import NOT_KNOWN, PARTITIONS, study_id_of
from rig.gather.tokens import Tokens, key_place, secret_key
from rig.settings.model import Settings
from rig.study.folder.study import Study
from rig.study.model.data import DAMP, Facts, ModelData, model_data
from rig.study.model.history import Played
from rig.study.model.others import SHARED, Told
from rig.study.model.reduction import reduced
from rig.study.slides.experience import older_studies
from rig.study.slides.slide import Applied, Slide
from rig.study.slides.table import SlideTable

Row = dict[str, Any]


def told_by(folder: Path, study: Study, table: SlideTable) -> Told:
    """What the other studies of a dataset say to this one.

    Args:
        folder: of the dataset.
        study: the own one; it is left out if it is in the dataset, too, and so are those whose
            experience it takes, which the model has slide by slide.
        table: its slides.

    Raises:
        BadInputError: there is no dataset, a part of it is damaged, or no other study speaks of
            the same models.
    """
    about = read_about(folder)
    own = {study_id_of(one.catalogue) for one in (study, *older_studies(study))}
    faces = {(s.model, s.face) for s in table.valid if s.model and s.face}
    others: list[ModelData] = []
    rigs: set[str] = set()
    readers: set[str] = set()
    operators: set[str] = set()
    shared: set[str] = set()
    aliases = _aliases(study)
    for unit, rows in studies_in(folder):
        if unit.key in own:
            continue
        slides, facts = _slides(rows, study, aliases, unit.key)
        if any(s.source == "twin" for s in slides) and not table.is_simulated:
            continue
        if not any((s.model, s.face) in faces for s in slides):
            continue
        others.append(model_data(slides, facts))
        rigs |= {s.rig for s in slides if s.rig}
        readers |= {s.reader for s in slides if s.reader}
        operators |= {s.operator for s in slides if s.operator and s.source != "hand"}
        shared |= {aliases[s.bag] for s in slides if s.bag in aliases}
    if not others:
        models = ", ".join(sorted({model for model, _ in faces})) or "none, so give your bags one"
        raise BadInputError(
            f"No other study in {folder} has bags of the same model ({models}); leave out --with."
        )
    bound = reduced(others, lambda m, f: (m, f) in faces)._replace(
        aliases=aliases, instruments=_instruments(table, with_names=about.with_names)
    )
    return Told(
        bound=bound,
        n_studies=len(others),
        n_slides=sum(one.n_slides for one in others),
        n_rigs=len(rigs),
        n_readers=len(readers),
        n_operators=len(operators),
        shared_bags=tuple(sorted(shared)),
    )


def studies_in(folder: Path) -> Iterator[tuple[DatasetUnit, list[Row]]]:
    """The studies of a dataset, one after the other, with their rows in order of time.

    Raises:
        BadInputError: it is none, or a part of it is damaged.
    """
    read_about(folder)
    units, damaged = read_units(folder)
    if damaged:
        raise _damaged(folder)
    for key, unit in sorted(units.items()):
        if not key.startswith("loose"):
            yield unit, rows_of_unit(folder, unit)


def rows_of_unit(folder: Path, unit: DatasetUnit) -> list[Row]:
    """Its rows in order of time, `rig` and `month` among the values.

    Raises:
        BadInputError: a part is damaged.
    """
    arrow, parquet = needed("pyarrow"), needed("pyarrow.parquet")
    rows: list[Row] = []
    for part in unit.parts:
        try:
            data = (folder / "slides" / part.path).read_bytes()
        except OSError as error:
            raise _damaged(folder) from error
        if blake2b(data, digest_size=CHECK_BYTES).digest() != part.digest:
            raise _damaged(folder)
        values = _values(part.path)
        rows += [row | values for row in parquet.read_table(arrow.BufferReader(data)).to_pylist()]
    return sorted(rows, key=lambda row: (row["started_at"] or "", row["slide_id"]))


def _damaged(folder: Path) -> BadInputError:
    return BadInputError(
        f"A part of {folder} is gone or was changed; run `rig gather` into it again."
    )


def _values(path: str) -> Row:
    told = dict(part.split("=", 1) for part in PurePosixPath(path).parent.parts)
    return {name: None if told[name] == NOT_KNOWN else unquote(told[name]) for name in PARTITIONS}


def _aliases(study: Study) -> dict[str, str]:
    """Shared name → own name, of bags and boards."""
    bags = {name: bag.shared_as for name, bag in study.catalogue.bags.items()}
    boards = {name: board.shared_as for name, board in study.catalogue.boards.items()}
    return {f"{SHARED}{shared}": own for own, shared in (boards | bags).items() if shared}


def _instruments(table: SlideTable, *, with_names: bool) -> dict[str, str]:
    """Own readers and operators as the dataset names them; no secret is made only for that."""
    if with_names or not key_place().exists():
        return {}
    tokens = Tokens(secret_key())
    people = {
        *(("reader", slide.reader) for slide in table.valid if slide.reader),
        *(("operator", slide.operator) for slide in table.of_rig if slide.operator),
    }
    return {f"{what} {name}": f"{what} {tokens.person(name)}" for what, name in people}


def _slides(
    rows: list[Row], study: Study, aliases: dict[str, str], study_id: str
) -> tuple[list[Slide], Facts]:
    """A study's slides as the model takes them; names that are not shared get its identity."""
    last = {row["bag"]: row["started_at"] for row in rows}
    plays: list[Played] = []
    thrown: dict[str, int] = {}
    slides = []
    for row in rows:
        if row["in_doubt"] or row["bag"] is None:
            continue
        bag = _known(row["bag"], row["bag_shared_as"], study_id)
        done = study.journal.treatments_of(aliases[bag]) if bag in aliases else []
        if any(one.at < last[row["bag"]] for one in done):
            bag = _known(row["bag"], None, study_id)  # it was another bag by then
        more = (row["throws_before"] or 0) - thrown.get(bag, 0)
        if more > 0:
            thrown[bag] = thrown.get(bag, 0) + more
            plays.append(Played(bag, row["started_at"], more))
        slides.append(_slide(row, bag, study_id))
    return slides, Facts(plays=tuple(plays))


def _slide(row: Row, bag: str, study_id: str) -> Slide:
    names = [name for name in (row["treatments"] or "").split("; ") if name]
    lines = (row["treatment_lines"] or "").split()
    rig = row["rig"]
    # A name that nobody chose says nothing about which rig it is.
    rig = f"{rig} of {study_id}" if rig == Settings().name else rig
    return Slide(
        slide_id=row["slide_id"],
        source=row["source"],
        at=row["started_at"],
        rig=rig,
        reader=row["reader"],
        operator=row["operator"],
        bag=bag,
        model=row["model"] or None,
        face=row["face"],
        board=_known(row["board"] or "", row["board_shared_as"], study_id),
        session=row["session"],
        series=row["series"],
        slide_number=row["slide_number"],
        slides_before=row["slides_before"] or 0,
        treatments=tuple(
            Applied(name, (), row["started_at"], int(line))
            for name, line in zip(names, lines, strict=False)
        ),
        approach=row["approach"] if row["approach"] in DAMP else "unknown",
        temperature_c=row["temperature_c"],
        relative_humidity_pct=row["relative_humidity_pct"],
        surface_humidity_pct=row["surface_humidity_pct"] or row["relative_humidity_pct"],
        rate_deg_s=row["rate_deg_s"],
        onset_angle_deg=row["onset_angle_deg"],
        method=row["method"],
        purpose=row["purpose"],
        outcome=row["outcome"],
        flags=(),
        valid=bool(row["valid"]),
        slid=bool(row["slid"]),
    )


def _known(name: str, shared_as: str | None, study_id: str) -> str:
    return f"{SHARED}{shared_as}" if shared_as else f"{name} of {study_id}"
