"""Series: the air is waited for, enough is enough, and an interrupted one goes on."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import msgspec
import pytest

from rig.clock import At, Task
from rig.control.mover import StoppedError
from rig.control.stop import StopRequest
from rig.errors import BadInputError, BusyError, RigError
from rig.opening import OpenRig, open_twin
from rig.procedures.requests import plan_series
from rig.procedures.series.climate_gate import ClimateBand, parse_band
from rig.procedures.series.log import (
    NAME,
    Begun,
    Closed,
    Cut,
    Ended,
    OpenSeries,
    SeriesLog,
    SeriesOptions,
    unfinished_in,
)
from rig.procedures.series.series import Hooks, SeriesMaker, begin_series
from rig.runfile.reader import read_run
from rig.settings.model import Linkage, Settings
from rig.twin.draws import changed
from rig.twin.scenario import Scenario
from tests.faults.harness import SCENARIO, SETTINGS

BAND = ClimateBand(temperature_c=23.0, temperature_tolerance_k=2.0, steady_s=60.0, timeout_s=240.0)


class Told:
    """A series made on the twin, with what was said."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.paths: list[Path] = []
        self.notices: list[str] = []
        self.error: RigError | None = None
        self.reason: str | None = None
        self.rig: OpenRig

    def make(
        self,
        n: int = 3,
        options: SeriesOptions | None = None,
        *,
        scenario: Scenario = SCENARIO,
        settings: Settings = SETTINGS,
        beside: Callable[[OpenRig], list[Task[Any]]] = lambda _: [],
        **more: Any,
    ) -> OpenSeries:
        """Begin a series, or go on with the one that is unfinished."""
        self.rig = rig = open_twin(settings, scenario, 3)
        now = rig.machine.clock.utc_now()
        with SeriesLog(self.folder) as log:
            log.settle(now)
            series = log.unfinished()
            if series is None:
                asked = plan_series(settings, n, source="twin", started=now, bag="X", face="grip")
                series = begin_series(log, asked, options or SeriesOptions(), now)
            hooks = Hooks(begun=lambda _, path: self.paths.append(path), notice=self.notices.append)
            maker = SeriesMaker(rig.machine, log, series, hooks, **more)
            self.error = None
            with rig:
                try:
                    rig.run(maker.make(start_now=True), beside=beside(rig))
                except RigError as caught:
                    self.error = caught
            self.reason = maker.reason
            log.settle(now)
            return log.series(series.planned)

    def headers(self) -> list[tuple[int | None, int | None, int | None]]:
        runs = [read_run(path).header for path in self.paths]
        return [(h.repeat, h.slide_number, h.slides_before) for h in runs]


@pytest.fixture
def told(tmp_path: Path) -> Told:
    return Told(tmp_path)


def later(seconds: float, act: Callable[[OpenRig], Any]) -> Callable[[OpenRig], list[Task[Any]]]:
    def beside(rig: OpenRig) -> list[Task[Any]]:
        def task() -> Task[None]:
            yield At(rig.machine.clock.time_s() + seconds)
            act(rig)

        return [task()]

    return beside


def stop(rig: OpenRig) -> None:
    rig.machine.events.put(StopRequest("SIGTERM", ends_program=True))


def test_a_series_is_told_from_beginning_to_end(told: Told) -> None:
    series = told.make(2)
    assert told.error is None
    assert sorted(series.counted) == [1, 2]
    assert told.headers() == [(1, 1, 0), (2, 2, 0)]
    with SeriesLog(told.folder) as log:
        kinds = [type(entry) for entry in log.entries[1:]]
        assert kinds == [Begun, Ended, Begun, Ended, Closed]
        wear = log.wear("X", "grip")
        assert (wear.slides, wear.pushes) == (2, 0)
        assert log.wear("X", "slick").slides == 0
        assert log.unfinished() is None
    told.make(1)
    assert told.headers()[-1] == (1, 1, 2)


def test_a_series_that_was_stopped_goes_on_where_it_was(told: Told) -> None:
    told.make(3, beside=later(40.0, stop))
    assert isinstance(told.error, StoppedError)
    n_before = len(told.paths)
    assert 1 < n_before <= 3
    again = told.make()
    assert told.error is None
    assert sorted(again.counted) == [1, 2, 3]
    assert len(set(again.counted.values())) == 3
    repeats = [repeat for repeat, _, _ in told.headers()]
    assert repeats == [*range(1, n_before + 1), *range(n_before, 4)]


def test_a_run_cut_after_its_slide_counts_as_a_slide_but_not_as_a_run(told: Told) -> None:
    told.make(1)
    whole = told.paths[0]
    lines = whole.read_bytes().splitlines(keepends=True)
    at = next(i for i, line in enumerate(lines) if b'"sliding"' in line) + 3
    # As if the power had gone in the slide: the file ends there, and nothing was told of it.
    whole.write_bytes(b"".join(lines[:at]) + lines[at][: len(lines[at]) // 2])
    story = told.folder / NAME
    story.write_bytes(b"".join(story.read_bytes().splitlines(keepends=True)[:2]))
    before = whole.read_bytes()
    series = told.make()
    assert sorted(series.counted) == [1]
    assert told.headers()[-1] == (1, 2, 0)
    assert whole.read_bytes() == before, "a run file was rewritten"
    with SeriesLog(told.folder) as log:
        cuts = [entry for entry in log.entries if isinstance(entry, Cut)]
        assert [(cut.state, cut.slid) for cut in cuts] == [("sliding", True)]
        assert log.wear("X", "grip").slides == 2


def test_a_run_that_ended_just_before_the_cut_is_counted(told: Told) -> None:
    told.make(1)
    story = told.folder / NAME
    kept = story.read_bytes().splitlines(keepends=True)[:2]
    story.write_bytes(b"".join(kept) + b'{"kind":"ended","at":"20')
    with SeriesLog(told.folder) as log:
        assert log.settle(told.rig.machine.clock.utc_now()) == []
        assert log.unfinished() is None
        assert [e.outcome for e in log.entries if isinstance(e, Ended)] == ["slid"]
    with SeriesLog(told.folder) as log:
        assert log.wear("X", "grip").slides == 1, "the torn line spoiled the next one"


def test_only_one_process_makes_a_series_in_a_folder(tmp_path: Path) -> None:
    with SeriesLog(tmp_path), pytest.raises(BusyError, match="Another process"):
        SeriesLog(tmp_path)


def test_nothing_unfinished_is_told(tmp_path: Path) -> None:
    with pytest.raises(BadInputError, match="no unfinished series"):
        unfinished_in(tmp_path)


def test_a_folder_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    with pytest.raises(BadInputError, match="Cannot write"):
        SeriesLog(tmp_path / "file" / "runs")


def test_an_analysis_that_fails_does_not_end_the_series(
    told: Told, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(run: Any) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr("rig.procedures.series.series.analyse_run", fails)
    series = told.make(2)
    assert told.error is None
    assert sorted(series.counted) == [1, 2]
    assert "could not be analysed" in told.notices[0]


# -- stop rules --------------------------------------------------------------------------------


def test_unattended_bad_runs_in_a_row_end_it(told: Told) -> None:
    glued = changed(SCENARIO, face={"mu_static_dry": 1.5, "mu_kinetic_dry": 1.4})
    low = msgspec.structs.replace(SETTINGS, linkage=Linkage(soft_limit_deg=6.0))
    told.make(6, SeriesOptions(unattended=True), scenario=glued, settings=low)
    assert told.error is None
    assert len(told.paths) == 3
    assert "no valid result" in (told.reason or "")


# -- the air -----------------------------------------------------------------------------------


def wants(rig: OpenRig, seen: list[str]) -> Task[None]:
    while True:
        seen.append(rig.machine.live.wants)
        yield At(rig.machine.clock.time_s() + 5.0)


def with_air(temperature_c: float, drift_k_h: float = 0.0) -> Scenario:
    return changed(
        SCENARIO,
        air={
            "temperature_c": temperature_c,
            "temperature_drift_k_h": drift_k_h,
            "sensor_temperature_error_k": 0.0,
        },
    )


def test_a_run_waits_until_the_air_is_right_and_steady(told: Told) -> None:
    seen: list[str] = []
    told.make(
        1,
        SeriesOptions(climate=BAND),
        scenario=with_air(26.0, -45.0),
        beside=lambda rig: [wants(rig, seen)],
    )
    assert told.error is None
    run = read_run(told.paths[0])
    # It enters the band at 25 °C, after 80 s, and must then be there for 60 s more.
    assert run.climate[0].temperature_c == pytest.approx(24.25, abs=0.2)
    assert any("°C (wanted 23 ± 2); gives up in 3 min" in text for text in seen)
    assert any("right for" in text for text in seen)


def test_right_air_lets_the_next_run_begin_at_once(told: Told) -> None:
    told.make(2, SeriesOptions(climate=BAND), scenario=with_air(23.0))
    first, second = (read_run(path) for path in told.paths)
    assert first.end is not None
    gap_s = _started_s(second) - _started_s(first) - first.events[-1].t_s
    assert gap_s < 1.0


def _started_s(run: Any) -> float:
    from datetime import datetime

    return datetime.fromisoformat(run.header.started_at).timestamp()


def test_a_stop_ends_the_wait_for_the_air(told: Told) -> None:
    told.make(1, SeriesOptions(climate=BAND), scenario=with_air(30.0), beside=later(100.0, stop))
    assert "SIGTERM" in str(told.error)


@pytest.mark.parametrize("text", ["warm", "23:x", "23:0", "99:2", "23;2"])
def test_a_band_that_makes_no_sense_is_refused(text: str) -> None:
    with pytest.raises(BadInputError, match="--temperature"):
        parse_band(text, None, 60.0, 60.0)


def test_a_band_is_read() -> None:
    band = parse_band("23", "50:5", 60.0, 30.0)
    assert band == ClimateBand(
        temperature_c=23.0,
        temperature_tolerance_k=2.0,
        relative_humidity_pct=50.0,
        humidity_tolerance_pct=5.0,
        steady_s=30.0,
        timeout_s=60.0,
    )
    assert parse_band(None, None, 60.0, 60.0) is None
