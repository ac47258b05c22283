"""`rig run --plan`: the next session of a study's plan, series by series."""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import NamedTuple

import msgspec

from rig.commands.options import say, tell
from rig.commands.run.series import ShownSeries
from rig.control.request import RunRequest
from rig.errors import BadInputError, RigError
from rig.files.stamps import utc_text
from rig.files.time_here import now_in
from rig.opening import OnBoard, OpenRig, Speed, open_rig
from rig.procedures.series.log import SeriesOptions
from rig.procedures.series.stop_rules import SlideScatter
from rig.procedures.studied import StudySeries, series_requests, study_series
from rig.quantities.shown import System
from rig.settings.checks import check_rate
from rig.settings.model import Settings
from rig.study.folder.catalogue import ClimateWanted
from rig.study.folder.journal import Enough, Wipe
from rig.study.folder.study import open_study
from rig.study.plan.enough import slide_scatter
from rig.study.plan.progress import next_rows
from rig.study.plan.rows import PlanRow
from rig.study.slides.table import slide_table

CHANGE_TIME = timedelta(minutes=2)
"""On the twin: what a person takes to change the bag."""


class SessionEnd(NamedTuple):
    """What came of a session."""

    paths: list[Path]
    all_slid: bool
    failure: RigError | None
    signal: str | None
    ended_at: datetime


class PlanRuns:
    """The next session of a plan.

    Args:
        folder: of the study.
        settings: of the rig.
        climate: take the next session in this climate.
        rows: what to run instead of the plan's next session.
        options: how each series is made; without air of its own the planned climate's counts.
        most: runs of each series, where it may end by the answer; as planned if None.
        steady_s: so long the planned air must hold before the session's first run.
        timeout_s: so long the air is waited for.
        operator: who does it.
        quiet: print no rows.
        units: of the rows and of the view.

    Raises:
        BadInputError: the plan can't be used, or the pulses cannot make the study's rate.
    """

    def __init__(
        self,
        folder: Path,
        settings: Settings,
        *,
        climate: str | None = None,
        rows: Sequence[PlanRow] | None = None,
        options: SeriesOptions,
        most: int | None = None,
        steady_s: float,
        timeout_s: float,
        operator: str | None,
        quiet: bool,
        units: System = "metric",
    ) -> None:
        self._study = open_study(folder)
        rate = self._study.catalogue.preferences.rate_deg_s
        check_rate(settings, rate, f"`preferences.rate_deg_s` in {self._study.path / 'study.toml'}")
        if self._study.catalogue.settles and settings.motion.raised_by == "hand":
            raise BadInputError(
                f"The study {self._study.path.name!r} begins its raises with a quick start, which"
                ' no hand can make. Before its first slide put `raise_start = "whole"` and a rate'
                " of 0.5 to 1 °/s into its study.toml, or make another one with `rig study new"
                " --start whole --rate 1`."
            )
        self._settings = settings
        self._options = options
        self._steady_s = steady_s
        self._timeout_s = timeout_s
        self._operator = operator
        self._quiet = quiet
        self._units = units
        self._is_planned = rows is None
        self._records = slide_table(self._study).of_rig
        if rows is None:
            rows = next_rows(self._study, climate, self._records)
        if most is not None:
            rows = [
                self._up_to(row, most) if row.is_series and row.action != "check" else row
                for row in rows
            ]
            known = slide_scatter(self._records)
            scatter = SlideScatter(sd_deg=known.sd_deg, freedom=known.freedom)
            self._options = msgspec.structs.replace(options, slide_scatter=scatter)
        self.rows: Sequence[PlanRow] = rows

    def make(
        self,
        *,
        twin: bool,
        seed: int | None,
        home: Path | None,
        speed: Speed,
        at: datetime | None,
        overdue_ok: bool,
        settings_file: Path | None,
        law: str | None = None,
    ) -> SessionEnd:
        """Make what is left of the session; stops at the first series that ends early.

        Args:
            twin: on the simulated rig.
            seed: of the twin.
            home: of the twin, if it has one.
            speed: of the twin.
            at: wall time of the twin at the start; now, or its own now, if None.
            overdue_ok: take a calibration that is past due.
            settings_file: where the settings came from.
            law: of the twin's friction, by name.
        """
        if not self.rows:
            say("The plan is done: nothing is left to run.")
        paths: list[Path] = []
        all_slid, wiped = True, None
        laid: PlanRow | None = None
        now = at or (datetime.now(UTC) if home is None else now_in(home))
        for row in self.rows:
            if row.action == "wipe":
                self._tell(f"Wipe the board {row.board!r} and let it dry.")
                wiped = row
                continue
            wanted = self._series(row, is_first=not paths)
            on_board = self._on_board(row, laid, wanted.fields["slides_before"])
            opened = open_rig(
                self._settings,
                twin=twin,
                seed=seed,
                home=home,
                speed=speed,
                on_board=on_board._replace(law=law),
                utc=now if twin else None,
                settings_file=settings_file,
            )
            opened.machine.allow_overdue = overdue_ok
            for line in opened.notes:
                say(line)
            self._tell(_first_words(row, laid))
            laid = row if laid is None or not _stays(row, laid) else laid
            series = ShownSeries(
                opened,
                self._study.path / "runs",
                quiet=self._quiet,
                options=wanted.options,
                units=self._units,
            )
            failure = series.make(self._requests(wanted, opened), start_now=twin)
            if self._is_planned and failure is None and series.is_enough:
                self._note_enough(row, opened.machine.clock.utc_now(), simulated=twin)
            if wiped is not None and series.paths:
                self._note_wipe(wiped, now, simulated=twin)
                wiped = None
            now = opened.machine.clock.utc_now() + CHANGE_TIME
            paths += series.paths
            all_slid = all_slid and series.all_slid
            self._records = slide_table(self._study).of_rig
            if failure is not None:
                return SessionEnd(paths, all_slid, failure, series.signal, now)
        return SessionEnd(paths, all_slid, None, None, now)

    def _series(self, row: PlanRow, *, is_first: bool) -> StudySeries:
        """Within a session the bags have been in the planned air: it need not be steady again."""
        options = self._options
        if row.action == "check":  # as many as planned, since they are not there for a mean
            options = msgspec.structs.replace(options, until_angle_deg=None)
        return study_series(
            self._study,
            row,
            self._records,
            options,
            steady_s=self._steady_s if is_first else 0.0,
            timeout_s=self._timeout_s,
        )

    def _on_board(self, row: PlanRow, laid: PlanRow | None, slides_before: int) -> OnBoard:
        wanted = self._study.catalogue.airs.get(row.climate, ClimateWanted())
        return OnBoard(
            temperature_c=wanted.temperature_c,
            relative_humidity_pct=wanted.relative_humidity_pct,
            bag=row.bag,
            face=row.face,
            board=row.board,
            study=self._study.path,
            climate=row.climate,
            session=row.session,
            series=laid.row if laid is not None and _stays(row, laid) else row.row,
            slides_before=slides_before,
        )

    def _requests(self, wanted: StudySeries, opened: OpenRig) -> list[RunRequest]:
        return series_requests(
            wanted,
            self._settings,
            source=opened.source,
            started=opened.machine.clock.utc_now(),
            operator=self._operator,
        )

    def _note_wipe(self, row: PlanRow, at: datetime, *, simulated: bool) -> None:
        note = "asked for by the plan"
        entry = Wipe(at=utc_text(at), board=row.board, series=row.row, note=note)
        self._study.note(entry, now=at, simulated=simulated)

    def _up_to(self, row: PlanRow, most: int) -> PlanRow:
        made = sum(record.valid and record.series == row.row for record in self._records)
        return msgspec.structs.replace(row, runs=max(1, most - made))

    def _note_enough(self, row: PlanRow, at: datetime, *, simulated: bool) -> None:
        entry = Enough(at=utc_text(at), series=row.row)
        self._study.note(entry, now=at, simulated=simulated)

    def _tell(self, text: str) -> None:
        if not self._quiet:
            print()
            tell(text)


def _stays(row: PlanRow, laid: PlanRow) -> bool:
    """Whether the bag of the series before stays as it was laid, to be checked."""
    return row.action == "check" and (row.bag, row.face) == (laid.bag, laid.face)


def _first_words(row: PlanRow, laid: PlanRow | None) -> str:
    what = f"{row.bag!r} with its face {row.face!r} on {row.board!r}"
    stays = laid is not None and _stays(row, laid)
    words = f"{'Leave' if stays else 'Put on'} {what}"
    where = ", ".join(filter(None, (row.stage, row.climate)))
    check = ", a check of the material at another rate" if row.action == "check" else ""
    return f"{words} ({where}, series {row.row}, {row.runs} runs{check})."
