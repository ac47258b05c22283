"""What other programs may rely on: `import rig`, and the names in `rig.__all__`.

The examples need a folder `runs` with run files and a study `club`:

>>> import rig
>>> found = rig.analyse("runs")
>>> found
<Analysis: 4 runs, 1 group>
>>> result = found.runs[0].result
>>> result.valid, result.bag, round(result.onset_angle_deg), result.flags
(True, 'Quay 1', 23, [])
>>> club = rig.open_study("club")
>>> club
<OpenStudy club: 2 bags, 6 slides>
>>> club.slides[0]
<Slide: Quay 1, grip, 24.6°>
>>> [slide.onset_angle_deg for slide in club.slides if slide.valid and slide.bag == "Quay 2"]
[25.0, 25.2, 24.9]
>>> answer = club.answer(temperature_c=22.0, humidity_pct=50.0)
>>> [(one.bag, round(one.to_target_deg, 1) < 0) for one in answer.bags]
[('Quay 1', True), ('Quay 2', True)]
>>> answer
<Answer: Use Quay 1, grip: 24...>
>>> rig.read_run("runs/9.run.jsonl")
Traceback (most recent call last):
...
rig.errors.BadInputError: Cannot read runs/9.run.jsonl: No such file or directory...
"""

from collections.abc import Iterable, Iterator, Sequence
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING, Any, overload

from rig.analysis.load import Analysis
from rig.calibration.model import Calibration
from rig.runfile import reader
from rig.runfile.reader import RunFile
from rig.study import export
from rig.study.answer.answer import Answer
from rig.study.answer.ask import air_at, ask
from rig.study.folder import study as folder
from rig.study.slides import analysed
from rig.study.slides.slide import Slide
from rig.study.slides.table import SlideTable, slide_table

if TYPE_CHECKING:
    import pandas as pd

AnyPath = str | PathLike[str]


def analyse(paths: AnyPath | Iterable[AnyPath], calibration: Calibration | None = None) -> Analysis:
    """Analyse run files, and all run files in folders; a study's as corrected in its journal.

    Args:
        paths: one file or folder, or several.
        calibration: used instead of those in the run files.

    Returns:
        The runs with their results (units in the names of the fields), the groups of runs that
        measured the same thing, and sentences about what could not be read.

    Raises:
        BadInputError: a path does not exist, no run file was found, or none could be used.
    """
    several = [paths] if isinstance(paths, str | PathLike) else paths
    return analysed.analyse([Path(path) for path in several], calibration)[0]


def read_run(path: AnyPath) -> RunFile:
    """Read one run file as it was recorded; damaged or missing parts are listed in `problems`.

    Raises:
        BadInputError: the file can't be read, or is not a run file of a known version.
    """
    return reader.read_run(Path(path))


def open_study(path: AnyPath) -> "OpenStudy":
    """Read a study folder.

    Raises:
        BadInputError: there is no study in this folder, or its files are not sound.
    """
    return OpenStudy(Path(path))


class Slides(Sequence[Slide]):
    """The rows of a slide table, in order of time; rows that don't count are among them."""

    def __init__(self, rows: Sequence[Slide], study: folder.Study) -> None:
        self._rows, self._study = tuple(rows), study

    def __repr__(self) -> str:
        return f"<Slides: {len(self)}>"

    def __len__(self) -> int:
        return len(self._rows)

    @overload
    def __getitem__(self, index: int) -> Slide: ...
    @overload
    def __getitem__(self, index: slice) -> Sequence[Slide]: ...
    def __getitem__(self, index: int | slice) -> Slide | Sequence[Slide]:
        return self._rows[index]

    def __iter__(self) -> Iterator[Slide]:
        return iter(self._rows)

    def to_pandas(self) -> "pd.DataFrame":
        """A row for each slide, with the columns of `rig study export`; needs pandas."""
        import pandas as pd

        rows: list[dict[str, Any]] = [export.row_of(self._study, slide) for slide in self._rows]
        return pd.DataFrame(rows, columns=list(export.columns()))


class OpenStudy:
    """A study as it was when it was opened; open it again after a change."""

    def __init__(self, path: Path) -> None:
        self._study = folder.open_study(path)
        self._table: SlideTable | None = None

    def __repr__(self) -> str:
        bags = len(self._study.catalogue.bags)
        return f"<OpenStudy {self._study.path.name}: {bags} bags, {len(self.slides)} slides>"

    @property
    def path(self) -> Path:
        """The study's folder."""
        return self._study.path

    @property
    def slides(self) -> Slides:
        """All that was measured, by the rig or by hand."""
        return Slides(self._read().slides, self._study)

    @property
    def problems(self) -> list[str]:
        """Sentences about what can't be read or used."""
        return self._read().problems

    def answer(
        self,
        temperature_c: float | None = None,
        humidity_pct: float | None = None,
        *,
        board: str | None = None,
        angle_deg: float | None = None,
    ) -> Answer:
        """What the study says by now; intervals hold 95 %.

        Args:
            temperature_c: of the air; unknown if None.
            humidity_pct: relative humidity at the board; the newest slide's air if None.
            board: each bag's usual one if None.
            angle_deg: wanted of every face, in place of the study's targets.

        Raises:
            BadInputError: no slide counts yet, or a damaged line of the journal blocks the answer.
        """
        air = None if humidity_pct is None else air_at(temperature_c, humidity_pct)
        return ask(self._study, air=air, board=board, angle_deg=angle_deg).answer

    def _read(self) -> SlideTable:
        if self._table is None:
            self._table = slide_table(self._study)
        return self._table
