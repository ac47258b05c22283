"""`rig run`: what its options hand on, and the exit code."""

import signal
from datetime import UTC, datetime
from pathlib import Path
from types import SimpleNamespace as Made
from typing import Any

import pytest

import rig.commands.run.plan  # noqa: F401 - loaded later it would keep a stand-in for good
from rig.control.faults.table import remedy
from rig.control.mover import StoppedError
from rig.errors import BadInputError, MachineFaultError
from rig.procedures.series.log import SeriesOptions
from rig.procedures.series.stop_rules import LEAST_RUNS, MOST_RUNS
from tests.commands.conftest import Rig
from tests.commands.stand_in import NOW, Opened

CAUTION = "Caution: the board will move"
BUS = remedy("bus")


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch) -> Opened:
    made = Opened()
    monkeypatch.setattr("rig.opening.open_rig", made)
    return made


class NotedSeries:
    """Stands for a series that ends as the test says."""

    def __init__(self) -> None:
        self.paths: list[Path] = []
        self.all_slid, self.signal = True, None
        self.failure: Exception | None = None
        self.begun: dict[str, Any] = {}
        self.made: tuple[Any, ...] = ()

    def __call__(self, opened: Any, folder: Path, **options: Any) -> "NotedSeries":
        self.begun = {"folder": folder, **options}
        return self

    def make(self, requests: Any, *, start_now: bool, resume: bool) -> Exception | None:
        self.made = (requests, start_now, resume)
        return self.failure

    def serve(self, requests: Any) -> None:
        self.made = (requests(),)
        signal.raise_signal(signal.SIGTERM)


@pytest.fixture
def series(opened: Opened, monkeypatch: pytest.MonkeyPatch) -> NotedSeries:
    made = NotedSeries()
    monkeypatch.setattr("rig.commands.run.series.ShownSeries", made)
    return made


@pytest.fixture
def planned(monkeypatch: pytest.MonkeyPatch) -> dict[str, Any]:
    noted: dict[str, Any] = {}

    def plan(settings: Any, repeat: int, **more: Any) -> str:
        noted.update(more, repeat=repeat)
        return "requests"

    monkeypatch.setattr("rig.procedures.requests.plan_series", plan)
    return noted


def test_what_a_run_is_asked_for_reaches_the_plan(
    rig: Rig, series: NotedSeries, opened: Opened, planned: dict[str, Any]
) -> None:
    words = "--bag A --face B --board C --session D --operator E --repeat 4 --rate 2 --dwell 3"
    words += " --purpose bridge"
    said = rig("run", "--twin", "--seed", "1", "--now", "--gap", "9", "--out", "x", *words.split())
    assert (said.code, said.out, said.err) == (0, "", "")
    assert planned == {
        **{"bag": "A", "face": "B", "board": "C", "session": "D", "operator": "E"},
        **{"repeat": 4, "rate_deg_s": 2.0, "dwell_s": 3.0, "gap_mm": 9.0, "rates_deg_s": ()},
        **{"source": "twin", "started": NOW, "purpose": "bridge"},
    }
    assert series.made == ("requests", True, False)
    assert series.begun == {
        "folder": Path("x"),
        "quiet": False,
        # A bridging series has quick starts of its own.
        "options": SeriesOptions(quick=True),
        "units": "metric",
    }
    asked = opened.asked
    assert (asked["on_board"].bag, asked["on_board"].face) == ("A", "B")
    assert (asked["twin"], asked["seed"], asked["speed"]) == (True, 1, "fast")
    assert opened.machine.allow_overdue is False


def test_a_plain_run_of_a_real_rig_warns_and_waits(
    rig: Rig, series: NotedSeries, opened: Opened, planned: dict[str, Any]
) -> None:
    said = rig("run", "--overdue-ok", "--seed", "0")
    assert CAUTION in said.err
    assert series.made == ("requests", False, False)
    assert series.begun["folder"] == Path("runs")
    assert planned["rate_deg_s"] is None
    assert (opened.asked["twin"], opened.asked["seed"]) == (False, 0)
    assert opened.machine.allow_overdue is True


def test_how_a_series_is_made_is_handed_on(
    rig: Rig, series: NotedSeries, planned: dict[str, Any]
) -> None:
    words = "--until 0.1 --bad-runs 3 --stop-at-trend --clean-every 5 --quick"
    rig("run", "--twin", "--temperature", "23:2", "--humidity", "50:4", *words.split())
    options = series.begun["options"]
    assert (options.until_angle_deg, options.bad_in_a_row, options.clean_every) == (0.1, 3, 5)
    assert options.least_runs == LEAST_RUNS
    # Without a study the model's prior tells how slides scatter: 0.25°, its logarithm by 0.6.
    assert options.slide_scatter.sd_deg == pytest.approx(0.25)
    assert options.slide_scatter.freedom == pytest.approx(0.5 / 0.36)
    assert planned["repeat"] == MOST_RUNS
    assert options.stop_at_trend
    assert options.quick
    band = options.climate
    assert (band.timeout_s, band.steady_s) == (7200.0, 300.0)
    timed = "--temperature 23:2 --steady 3 --climate-timeout 2"
    rig("run", "--twin", *timed.split())
    band = series.begun["options"].climate
    assert (band.timeout_s, band.steady_s) == (120.0, 180.0)
    rig("run", "--twin", "--rates", "0.5,1,2")
    assert planned["rates_deg_s"] == (0.5, 1.0, 2.0)


def test_least_and_most_runs_of_a_series_that_ends_by_its_answer(
    rig: Rig, series: NotedSeries, planned: dict[str, Any]
) -> None:
    rig("run", "--twin", *"--until 0.1 --least 4 --repeat 6".split())
    assert (series.begun["options"].least_runs, planned["repeat"]) == (4, 6)
    rig("run", "--twin", *"--until 0.1 --least 20".split())
    assert (series.begun["options"].least_runs, planned["repeat"]) == (20, 20)
    for words, sentence in (
        ("--least 4", "--least goes with --until"),
        ("--until 0.1 --least 7 --repeat 6", "7 runs at least"),
        ("--until 0.1 --repeat 2", "3 runs at least"),
    ):
        said = rig("run", "--twin", *words.split())
        assert said.code == 2
        assert sentence in said.err


@pytest.mark.parametrize(
    ("words", "name"), [("--rate 2.8", "--rate is 2.8"), ("--rates 1,2.8", "of --rates is 2.8")]
)
def test_a_rate_that_the_pulses_cannot_make_is_refused(
    rig: Rig, series: NotedSeries, words: str, name: str
) -> None:
    said = rig("run", "--twin", *words.split())
    assert said.code == 2
    assert name in said.err
    assert "at most 2.54 °/s" in said.err
    assert series.made == ()


@pytest.mark.parametrize(
    "words",
    [
        "--rates 0.5,1,2 --rate 1",
        "--rates 0.5,1,2 --until 0.1",
        "--rates 0.5,1,2 --stop-at-trend",
        "--rates 0.5,1,2 --purpose check",
        "--purpose bridge --until 0.1",
        "--purpose check --stop-at-trend",
    ],
)
def test_what_has_no_one_angle_goes_with_no_rule_for_one(
    rig: Rig, series: NotedSeries, words: str
) -> None:
    said = rig("run", "--twin", *words.split())
    assert said.code == 2
    assert "--rates goes with neither" in said.err
    assert series.made == ()


@pytest.mark.parametrize(
    "other",
    [
        *("--bag A", "--face A", "--board A", "--session A", "--resume", "--rates 0.5,1,2"),
        "--repeat 2",
    ],
)
def test_a_plan_says_itself_what_is_made(rig: Rig, series: NotedSeries, other: str) -> None:
    said = rig("run", "--twin", "--plan", "study", *other.split())
    assert said.code == 2
    assert "--plan says itself" in said.err


@pytest.mark.parametrize("twin", [True, False])
def test_a_session_of_a_plan_is_made_as_asked(
    rig: Rig, monkeypatch: pytest.MonkeyPatch, twin: bool
) -> None:
    noted: list[Any] = []
    done = Made(paths=[], failure=None, signal=None, all_slid=False)

    def plan_runs(*given: Any, **more: Any) -> Any:
        noted.extend([given, more])

        def make(**how: Any) -> Any:
            noted.append(how)
            return done

        return Made(make=make)

    monkeypatch.setattr("rig.commands.run.plan.PlanRuns", plan_runs)
    words = ["--at", "2026-05-30T12:00Z", "--climate", "dry", "--operator", "Wren", "--json"]
    said = rig("run", "--plan", "study", *words, *(["--twin"] if twin else []))
    assert said.code == 1, "not all slid"
    assert (CAUTION in said.err) is not twin
    assert said.document == {"runs": [], "groups": []}
    (given, more, how) = noted
    assert given[0] == Path("study")
    assert (more["climate"], more["operator"], more["quiet"]) == ("dry", "Wren", True)
    assert (how["twin"], how["at"], how["overdue_ok"]) == (
        twin,
        datetime(2026, 5, 30, 12, tzinfo=UTC),
        False,
    )


def test_a_series_goes_on_with_its_own_bag(
    rig: Rig, series: NotedSeries, opened: Opened, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = Made(bag="Heron", face="grip", board=None, rate_deg_s=1.0)
    first = Made(planned=Made(requests=[asked]))
    monkeypatch.setattr("rig.procedures.series.log.unfinished_in", lambda _: first)
    assert rig("run", "--twin", "--resume", "--bag", "other").code == 0
    assert series.made == ([], False, True)
    assert (opened.asked["on_board"].bag, opened.asked["on_board"].face) == ("Heron", "grip")
    # The settings may have changed since.
    asked.rate_deg_s = 2.8
    refused = rig("run", "--twin", "--resume")
    assert refused.code == 2
    assert "The rate of the unfinished series is 2.8 °/s" in refused.err


def test_a_service_ends_by_its_signal(
    rig: Rig, series: NotedSeries, planned: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    set_up: list[Any] = []
    monkeypatch.setattr("logging.basicConfig", lambda **how: set_up.append(how))
    said = rig("run", "--twin", "--seed", "1", "--service", "--repeat", "3")
    assert (said.code, said.err.startswith("rig: Ended by SIGTERM. ")) == (130, True)
    assert series.made == ("requests",)
    assert planned["repeat"] == 3
    assert set_up[0]["stream"] is not None


@pytest.mark.parametrize(
    ("failure", "signal", "all_slid", "code", "says"),
    [
        (None, None, True, 0, ""),
        (None, None, False, 1, ""),
        (
            MachineFaultError("bus", "It hangs."),
            None,
            False,
            1,
            f"rig: It hangs. {BUS}\n",
        ),
        (BadInputError("No."), None, True, 2, "rig: No.\n"),
        (StoppedError("Stopped."), "SIGTERM", True, 130, ""),
    ],
)
def test_the_exit_code_tells_how_a_series_ended(
    rig: Rig,
    series: NotedSeries,
    planned: dict[str, Any],
    failure: Exception | None,
    signal: Any,
    all_slid: bool,
    code: int,
    says: str,
) -> None:
    series.failure, series.signal, series.all_slid = failure, signal, all_slid
    said = rig("run", "--twin", "--seed", "1", "--json")
    assert (said.code, said.err) == (code, says)
    assert said.document == {"runs": [], "groups": []}, "also of a series that failed"
    assert series.begun["quiet"] is True
    assert rig("run", "--twin").out == ""


def test_the_twins_law_is_chosen_by_name(rig: Rig, series: NotedSeries, opened: Opened) -> None:
    assert rig("run", "--twin", "--law", "lugre").code == 0
    assert opened.asked["on_board"].law == "lugre"
    said = rig("run", "--law", "lugre")
    assert said.code == 2
    assert "give --twin too" in said.err
