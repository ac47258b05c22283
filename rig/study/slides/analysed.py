"""Run files in full, with budgets, and those of a study as its slide table has them."""

from collections.abc import Iterable, Sequence
from pathlib import Path
from shlex import quote

import msgspec

from rig.analysis import home, load
from rig.analysis.friction import RunAnalysis
from rig.analysis.home import HomeReading
from rig.analysis.load import Analysis
from rig.calibration.model import Calibration
from rig.errors import BadInputError
from rig.files.checked import unchecked_words
from rig.runfile.reader import find_runs
from rig.study.folder.study import is_study, open_study
from rig.study.slides.look import Kept, kept_from
from rig.study.slides.table import run_files, slide_table, table_of


def analyse(
    paths: Iterable[Path], calibration: Calibration | None = None
) -> tuple[Analysis, list[str]]:
    """Analyse run files, folders of them, and studies.

    Returns:
        What came of all of them, and sentences about what was written without a check.

    Raises:
        BadInputError: a path does not exist, no run file was found, none could be used, or a line
            of a study's journal is in doubt and may be about any bag.
    """
    paths = list(paths)
    studies = [path for path in paths if is_study(path)]
    if not studies:
        found = load.analyse(paths, calibration)
        words = unchecked_words(found.n_unchecked)
        return found, [words] if words else []
    runs: list[RunAnalysis] = []
    problems: list[str] = []
    notes: list[str] = []
    for path in studies:
        more, told, unchecked = _of_study(path, calibration)
        runs += more
        problems += told
        notes += [unchecked] if unchecked else []
    if others := find_runs([path for path in paths if path not in studies]):
        found = load.analyse(others, calibration)
        runs += found.runs
        problems += found.problems
        if words := unchecked_words(found.n_unchecked):
            notes.append(words)
    return load.analysis_of(runs, problems), notes


def home_readings(paths: Iterable[Path]) -> list[HomeReading]:
    """The home readings in run files and folders; a study's as its slide table has them.

    Raises:
        BadInputError: a path does not exist.
    """
    paths = list(paths)
    others = [path for path in paths if not is_study(path)]
    found = home.home_readings(others) if others else []
    for path in paths:
        if is_study(path):
            table = slide_table(open_study(path))
            found += [slide.home for slide in table.of_rig if slide.home is not None]
    return found


def _of_study(
    path: Path, calibration: Calibration | None
) -> tuple[Sequence[RunAnalysis], list[str], str]:
    """The analyses of a study's runs with bag, face, board and stage as the table has them."""
    study = open_study(path)
    files = run_files(study)
    if not files:
        raise BadInputError(
            f"The study {path} has no run yet; measure with `rig run --plan {quote(str(path))}`."
        )
    found: dict[str, RunAnalysis] = {}
    kept: dict[Path, Kept] = {}
    for file, one in load.analyses(files, calibration):
        if isinstance(one, BadInputError):
            kept[file] = Kept(result=None, problems=(str(one),))
        else:
            kept[file] = kept_from(one)
            found[file.relative_to(path).as_posix()] = one
    table = table_of(study, kept)
    table.check_answers()
    runs, problems = [], list(table.problems)
    for slide in table.of_rig:
        if slide.result is None:
            continue
        is_blocked = slide.bag in table.blocked
        result = msgspec.structs.replace(
            slide.result,
            run_file=str(path / slide.run_file),
            treatment_stage=slide.stage,
            valid=slide.result.valid and not is_blocked,
        )
        runs.append(found[slide.run_file]._replace(result=result))
        if slide.void:
            problems.append(f"{slide.slide_id} was taken out by a correction: {slide.void}.")
    return runs, problems, table.unchecked
