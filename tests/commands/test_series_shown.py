"""What a series says while it is made, and what stands for it afterwards."""

import signal
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import SimpleNamespace as Made
from typing import Any

import pytest

from rig.commands import panel as panelling
from rig.commands.run import series as serial
from rig.commands.run.rows import head as titles
from rig.commands.run.series import ShownSeries
from rig.control.mover import StoppedError
from rig.errors import BadInputError, RigError
from rig.procedures.runs import MadeRun
from tests.analysis.parts import analysis
from tests.commands.conftest import Rig
from tests.commands.stand_in import NOW, Opened


class Log:
    """A story file of a folder, by hand."""

    def __init__(self, cuts: Any = (), unfinished: Any = None) -> None:
        self.cuts, self.kept, self.settled = list(cuts), unfinished, 0
        self.problems: list[str] = []

    def __call__(self, folder: Path) -> "Log":
        self.folder = folder
        return self

    def __enter__(self) -> "Log":
        return self

    def __exit__(self, *_: object) -> None:
        pass

    def settle(self, at: Any) -> list[Any]:
        assert at == NOW
        self.settled += 1
        return self.cuts

    def unfinished(self) -> Any:
        return self.kept


class Stage:
    """Everything that a series needs, with the runs that the test wants."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        opened: Any = Opened()
        self.opened = opened
        self.opened.machine.homes_slowly = False
        self.truths: list[Any] = []
        opened.write_truth = self.truths.append
        self.log = Log()
        self.begun: list[Any] = []
        self.progress: list[Any] = []
        self.failure: Exception | None = None
        self.outcomes = ["slid"]
        self.reason: str | None = None
        self.is_signalled = False
        monkeypatch.setattr(serial, "SeriesLog", lambda folder: self.log(folder))
        monkeypatch.setattr(serial, "SeriesMaker", self._maker)
        monkeypatch.setattr(serial, "begin_series", self._begin)
        monkeypatch.setattr(serial, "ProgressView", self._progress)

    def series(self, *, quiet: bool = False) -> ShownSeries:
        return ShownSeries(self.opened, Path("runs"), quiet=quiet)

    def _progress(
        self, machine: Any, n_runs: int, *, is_real: bool, n_before: int, units: str
    ) -> Any:
        self.progress.append((n_runs, n_before, is_real))
        note = self.progress.append
        return Made(
            begin=lambda request: note(("begin", request)),
            made=lambda result: note(("made", result)),
            follow=lambda: iter(()),
        )

    def _begin(self, log: Any, requests: Any, options: Any, at: Any) -> Any:
        self.begun.append((requests, options, at))
        return Made(remaining=requests, counted={})

    def _maker(self, machine: Any, log: Any, series: Any, hooks: Any) -> Any:
        def make(*, start_now: bool) -> Iterator[Any]:
            self.started_now = start_now
            self.made_of = series
            for place, outcome in enumerate(self.outcomes):
                path = Path(f"runs/{place}")
                hooks.begun("request", path)
                yield None
                result = analysis(0.4).result if outcome == "slid" else None
                hooks.made(MadeRun(path, outcome), result)  # type: ignore[arg-type]
            hooks.notice("Wipe the board.")
            if self.is_signalled:
                signal.raise_signal(signal.SIGTERM)
            if self.failure is not None:
                raise self.failure

        return Made(make=make, reason=self.reason, is_enough=False)


@pytest.fixture
def stage(monkeypatch: pytest.MonkeyPatch) -> Stage:
    return Stage(monkeypatch)


def test_each_run_is_a_row_and_its_truth_is_kept(
    stage: Stage, capsys: pytest.CaptureFixture[str]
) -> None:
    stage.outcomes = ["slid", "slid"]
    stage.reason = "The mean is known well enough."
    series = stage.series()
    assert series.make(["a", "b"], start_now=True) is None  # type: ignore[list-item]
    out, err = capsys.readouterr()
    head, *rows = out.splitlines()
    assert head == titles()
    assert len(rows) == 2
    assert rows[0].split()[1] == "21.80"
    assert err.splitlines() == ["Wipe the board.", "The mean is known well enough."]
    assert series.paths == stage.truths == [Path("runs/0"), Path("runs/1")]
    assert (series.all_slid, series.signal, stage.started_now) == (True, None, True)
    assert stage.progress[0] == (2, 0, False)
    assert [one[0] for one in stage.progress[1:]] == ["begin", "made", "begin", "made"]
    assert stage.begun[0][::2] == (["a", "b"], NOW)
    assert stage.log.settled == 2
    assert not stage.opened.machine.homes_slowly
    assert not stage.opened.is_open


def test_quiet_prints_nothing_and_a_bag_that_stays_is_told(
    stage: Stage, capsys: pytest.CaptureFixture[str]
) -> None:
    stage.outcomes = ["slid", "no_slide", "slid"]
    stage.opened.source = "rig"
    series = stage.series(quiet=True)
    series.make([], start_now=False)
    assert capsys.readouterr().out == ""
    assert not series.all_slid
    assert stage.progress[0][2] is True
    assert not stage.started_now


def test_what_was_cut_off_is_told_and_makes_homing_slow(
    stage: Stage, capsys: pytest.CaptureFixture[str]
) -> None:
    begun = Made(repeat=3, run_file="x.run.jsonl")
    for cut, words in (
        (Made(state="raising", t_s=12.34), "cut off in state raising, 12.3 s after it began."),
        (Made(state="parked", t_s=None), "cut off in state parked, 0.0 s after it began."),
        (Made(state=None, t_s=None), "cut off before its file was begun."),
    ):
        stage.log.cuts = [(begun, cut)]
        stage.opened.machine.homes_slowly = False
        stage.series().make([], start_now=False)
        assert f"Run 3 (x.run.jsonl) was {words}" in capsys.readouterr().err
        assert stage.opened.machine.homes_slowly


def unfinished() -> Any:
    planned = Made(at="noon", requests=["a", "b", "c"])
    return Made(planned=planned, counted={2: "two", 1: "one"}, remaining=["c"])


def test_an_unfinished_series_is_offered_or_gone_on_with(
    stage: Stage, capsys: pytest.CaptureFixture[str]
) -> None:
    stage.log.kept = unfinished()
    stage.series().make(["new"], start_now=False)  # type: ignore[list-item]
    assert "The series of noon has 2 of 3 runs" in capsys.readouterr().err
    assert stage.begun
    stage.begun.clear()
    series = stage.series()
    series.make([], start_now=False, resume=True)
    assert "The series resumes: 2 of 3 runs are made." in capsys.readouterr().err
    assert series.paths == [Path("runs/one"), Path("runs/two"), Path("runs/0")]
    assert stage.begun == []
    assert stage.made_of is stage.log.kept
    assert stage.progress[-3][:2] == (1, 2)
    stage.log.kept = None
    stage.progress.clear()
    assert stage.series().make([], start_now=False, resume=True) is None
    assert "nothing is left" in capsys.readouterr().err
    assert stage.progress == []
    stage.series().make(["new"], start_now=False)  # type: ignore[list-item]
    assert "has" not in capsys.readouterr().err.replace("Wipe the board.", "")


@pytest.mark.parametrize("is_read", [True, False])
def test_what_ends_a_series_comes_back_with_the_last_row(
    stage: Stage,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    is_read: bool,
) -> None:
    def read(path: Path) -> Any:
        if not is_read:
            raise BadInputError("Nothing is in it.")
        return path

    monkeypatch.setattr(serial, "read_run", read)
    monkeypatch.setattr(serial, "analyse_run", lambda _: analysis(0.4))
    stage.failure, stage.is_signalled = RigError("Stopped."), True
    series = stage.series()
    assert series.make([], start_now=False) is stage.failure
    assert series.signal == "SIGTERM"
    assert stage.log.settled == 2
    out, err = capsys.readouterr()
    assert len(out.splitlines()) == 2 + is_read
    assert ("Nothing is in it." in err) is not is_read
    stage.outcomes = []
    with pytest.raises(RigError, match=r"Stopped\."):
        stage.series().make([], start_now=False)


def test_a_signal_after_the_last_run_ends_what_would_come_next(stage: Stage) -> None:
    stage.is_signalled = True
    series = stage.series()
    failure = series.make([], start_now=False)
    assert isinstance(failure, StoppedError)
    assert str(failure) == "Stopped by SIGTERM."
    assert series.signal == "SIGTERM"
    assert stage.log.settled == 2, "the story file is up to date all the same"


class Notes:
    """What systemd is told."""

    def __init__(self, clock: Any = None) -> None:
        self.told: list[str] = []

    def __call__(self, clock: Any) -> "Notes":
        return self

    def alive(self) -> None:
        self.told.append("alive")

    def status(self, text: str) -> None:
        self.told.append(text)

    def ready(self) -> None:
        self.told.append("ready")

    def stopping(self) -> None:
        self.told.append("stopping")


@pytest.fixture
def notes(monkeypatch: pytest.MonkeyPatch) -> Notes:
    made = Notes()
    monkeypatch.setattr("rig.control.process.notify.Notifier", made)
    return made


@pytest.mark.parametrize("is_new", [True, False])
def test_a_service_makes_a_series_at_each_press_and_tells_systemd(
    stage: Stage, notes: Notes, monkeypatch: pytest.MonkeyPatch, is_new: bool
) -> None:
    stage.log.kept = None if is_new else unfinished()
    stage.log.cuts = [(Made(repeat=1, run_file="x"), Made(state=None, t_s=None))]
    machine = stage.opened.machine

    def stand_by(given: Any, one: Any) -> Iterator[Any]:
        assert given is machine
        machine.on_beat()
        machine.live.wants = "Press start."
        machine.on_beat()
        yield from one()
        raise StoppedError("Stopped.")

    monkeypatch.setattr("rig.procedures.standby.stand_by", stand_by)
    with pytest.raises(StoppedError):
        stage.series().serve(lambda: ["new"])  # type: ignore[list-item]
    assert notes.told == ["ready", "alive", "raising", "alive", "raising: Press start.", "stopping"]
    assert bool(stage.begun) is is_new
    assert stage.made_of is not None
    assert stage.started_now is False
    assert stage.log.settled == 2
    assert machine.homes_slowly
    assert stage.truths == [Path("runs/0")]


@pytest.mark.parametrize(("is_signalled", "code"), [(True, 130), (False, 1)])
@pytest.mark.parametrize("is_open", [True, False])
def test_the_page_is_served_until_it_is_stopped(
    rig: Rig,
    notes: Notes,
    monkeypatch: pytest.MonkeyPatch,
    is_signalled: bool,
    code: int,
    is_open: bool,
) -> None:
    opened, log = Opened(), Log()
    asked: list[Any] = []

    def serve() -> Iterator[Any]:
        opened.machine.on_beat()
        yield None
        if is_signalled:
            signal.raise_signal(signal.SIGTERM)
        raise StoppedError("Stopped.")

    @contextmanager
    def server() -> Iterator[None]:
        yield

    class Server:
        port = 8601

        def __enter__(self) -> None:
            asked.append("server")

        def __exit__(self, *_: object) -> None:
            pass

    def serve_panel(*_: Any, **how: Any) -> Any:
        asked.append(how)
        viewer = Made(follow=lambda: iter(()))
        return Made(server=Server(), desk=Made(serve=serve), viewer=viewer)

    monkeypatch.setattr("rig.opening.open_rig", opened)
    monkeypatch.setattr("rig.procedures.series.log.SeriesLog", log)
    monkeypatch.setattr("rig.panel.setup.serve_panel", serve_panel)
    monkeypatch.setattr("logging.basicConfig", lambda **how: asked.append(how["level"]))
    words = ["--open-to-network", "--out", "made", "--port", "0"] if is_open else []
    said = rig("panel", "--twin", *words)
    assert said.code == code
    where = "rig: Ended by SIGTERM. The board stands at about 12.3°, the motor is off"
    assert said.err.count("rig: Stopped.") == (0 if is_signalled else 1)
    assert (where in said.err) is is_signalled
    assert panelling.CAUTION in said.err
    assert (panelling.OPEN_CAUTION in said.err) is is_open
    assert "The page: http" in said.err
    how = next(one for one in asked if isinstance(one, dict))
    assert (how["port"], how["is_open"]) == ((0, True) if is_open else (8600, False))
    assert log.folder == Path("made" if is_open else "runs")
    assert notes.told == ["ready", "alive", "raising", "stopping"]
    assert opened.machine.allow_overdue is False
    assert opened.asked["speed"] == "real"
    assert asked[0] == 30, "warnings are told"
