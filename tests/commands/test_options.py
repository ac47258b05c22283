"""What the options of a command do to a rig: what is handed on, printed, the exit code."""

import json
import sys
from collections.abc import Generator, Iterator
from pathlib import Path
from types import SimpleNamespace as Made
from typing import Any

import pytest

from rig.commands import asking
from rig.commands import watch as watching
from rig.control.process.safe import SafeStep
from rig.errors import BadInputError
from rig.procedures.selftest.moves import Finding
from rig.procedures.timing import WAY_OWN, WAY_SLEEP, Timing
from tests.commands.conftest import Rig
from tests.commands.stand_in import Opened

CAUTION = "Caution: the board will move"


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch) -> Opened:
    made = Opened()
    monkeypatch.setattr("rig.opening.open_rig", made)
    return made


@pytest.fixture
def watched(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Who watched and was sent away."""
    noted: list[str] = []

    def join() -> Iterator[None]:
        noted.append("joined")
        yield

    watcher = Made(cancel=lambda: noted.append("cancelled"), join=join)
    monkeypatch.setattr("rig.procedures.runs.start_watching", lambda _: [watcher])
    return noted


@pytest.mark.parametrize(
    ("words", "moves", "asks", "warns"),
    [
        ("--twin", True, True, False),
        ("", True, True, True),
        ("--still", False, True, False),
        ("--now --twin", True, False, False),
    ],
)
@pytest.mark.parametrize("is_good", [True, False])
def test_the_self_test_moves_asks_and_warns_as_told(
    rig: Rig,
    opened: Opened,
    watched: list[str],
    monkeypatch: pytest.MonkeyPatch,
    words: str,
    moves: bool,
    asks: bool,
    warns: bool,
    is_good: bool,
) -> None:
    noted: dict[str, Any] = {}

    def self_test(machine: Any, **how: Any) -> Generator[Any, None, Any]:
        noted.update(how, at=opened.time_s)
        yield None
        return [Finding("beam 1", True, "clear"), Finding("bus", is_good, "there")]

    monkeypatch.setattr("rig.procedures.selftest.selftest.self_test", self_test)
    said = rig("check", *words.split())
    assert said.code == (0 if is_good else 1)
    word = "good" if is_good else "BAD "
    assert said.out.splitlines() == [
        f"good  {'beam 1':<26} clear",
        f"{word}  {'bus':<26} there",
    ]
    assert (noted["move"], noted["ask"] is not None) == (moves, asks)
    assert noted["at"] > 0.0, "a first look is waited for"
    assert (CAUTION in said.err) is warns
    assert watched == ["cancelled", "joined"]
    document = rig("check", *words.split(), "--json").document
    assert document["checks"][1] == {"name": "bus", "is_good": is_good, "text": "there"}


@pytest.mark.parametrize(
    ("own_us", "sleep_us", "code"), [(4999.0, 9e4, 0), (5001.0, 1.0, 1), (1.0, 9e4, 0)]
)
def test_late_pulses_of_the_rigs_own_train_fail(
    rig: Rig,
    opened: Opened,
    watched: list[str],
    monkeypatch: pytest.MonkeyPatch,
    own_us: float,
    sleep_us: float,
    code: int,
) -> None:
    noted: list[Any] = []

    def measure(
        machine: Any, request: Any, folder: Path, seconds: float
    ) -> Generator[Any, None, Any]:
        assert folder.is_dir()
        noted.append(seconds)
        yield None
        return [
            Timing(WAY_OWN, 500, 9, 1.04, 2.0, own_us, 499.98),
            Timing(WAY_SLEEP, 500, 9, 1.0, 2.0, sleep_us, 499.9),
        ]

    monkeypatch.setattr("rig.procedures.timing.measure_timing", measure)
    (Path("rig.toml")).write_text("[interlocks]\nlate_pulse_ms = 5\n")
    said = rig("check", "--timing", "--twin", "--seconds", "0.5")
    assert said.code == code
    assert noted == [0.5]
    assert watched == ["cancelled"]
    *text, head, row, _ = said.out.splitlines()
    assert "of simulated pins" in " ".join(text)
    assert head.split()[:3] == ["pulses/s", "made", "by"]
    assert row.split() == ["500", *WAY_OWN.split(), "1.0", "2.0", f"{own_us:.1f}", "500.0"]
    assert "this rig's own pins" in rig("check", "--timing").out
    assert opened.asked["speed"] == "real"
    document = rig("check", "--timing", "--twin", "--json").document
    assert (document["pins"], document["timing"][0]["worst_us"]) == ("twin", own_us)
    assert noted[-1] == 5.0


def test_the_air_is_read_once_both_are_known(
    opened: Opened, watched: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    live = opened.machine.live
    monkeypatch.setattr("rig.procedures.runs.raise_failures", lambda _: at(opened.time_s))

    def at(time_s: float) -> None:
        live.temperature_c = 21.0 if time_s > 0.3 else None
        live.relative_humidity_pct = 48.0 if time_s > 9.7 else None

    assert asking.live_air(Path("club"), None, True, 3) == (21.0, 48.0)
    assert 9.7 < opened.time_s < 10.0
    assert (opened.asked["twin"], opened.asked["seed"]) == (True, 3)
    assert not opened.is_open
    opened.time_s = 0.0
    monkeypatch.setattr("rig.procedures.runs.raise_failures", lambda _: at(0.0))
    with pytest.raises(BadInputError, match="read it on a rig: The climate sensor gave no"):
        asking.live_air(Path("club"), None, True, 3)
    assert 10.0 <= opened.time_s < 10.3


def test_safe_switches_off_every_driver_there_is(rig: Rig, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[int] = []
    ends = {21: False}

    def make_safe(clock: Any, enable: int, lock: Any, factory: Any) -> list[Any]:
        asked.append(enable)
        return [
            SafeStep("lock", False, "held"),
            SafeStep("pin", ends.get(enable, True), f"GPIO {enable}"),
        ]

    monkeypatch.setattr("rig.control.process.safe.make_safe", make_safe)
    monkeypatch.setattr("rig.devices.pins.header_chip", lambda: 0)
    said = rig("safe")
    assert said.code == 0
    assert len(asked) == 1, "no blade, no driver of it"
    assert [line.split() for line in said.out.splitlines()] == [
        ["NOT", "lock", "held"],
        ["done", "pin", "GPIO", str(asked[0])],
    ]
    assert rig("safe", "--json").document["is_off"] is True
    Path("rig.toml").write_text(
        "[pins]\nblade_step = 13\nblade_direction = 19\nblade_enable = 21\nblade_park = 4\n"
    )
    asked.clear()
    assert rig("safe").code == 1
    assert asked[1:] == [21]
    document = rig("safe", "--json")
    assert (document.code, document.document["is_off"]) == (1, False)
    assert len(document.document["steps"]) == 4


class OnScreen:
    """Stands for the live view."""

    def __init__(self, *given: Any) -> None:
        self.shown = 0
        screens.append(self)

    def show(self, snap: Any) -> None:
        self.shown += 1

    def stop(self) -> None:
        self.shown = -self.shown


screens: list[OnScreen] = []


@pytest.mark.parametrize(
    ("is_tty", "words", "lines", "shown"),
    [
        (False, "", 4, None),
        (False, "--json", 1, None),
        (True, "", 0, -10),
        (True, "--json", 1, None),
    ],
)
def test_watch_shows_lines_a_block_or_one_document(
    rig: Rig,
    opened: Opened,
    watched: list[str],
    monkeypatch: pytest.MonkeyPatch,
    is_tty: bool,
    words: str,
    lines: int,
    shown: int | None,
) -> None:
    screens.clear()
    monkeypatch.setattr("rig.commands.run.live_view.LiveView", OnScreen)
    monkeypatch.setattr("rig.procedures.runs.raise_failures", lambda _: None)
    monkeypatch.setattr("rig.panel.view.Viewer", lambda _: Made(look=lambda: None))
    monkeypatch.setattr(watching, "describe", lambda *_: "line")
    monkeypatch.setattr(watching, "snapshot", lambda _: {"angle_deg": 1.0})
    monkeypatch.setattr(sys.stdout, "isatty", lambda: is_tty)
    said = rig("watch", "--twin", "--seconds", "1.95", *words.split())
    assert said.out.splitlines() == (
        ["line"] * lines if "--json" not in words else [json.dumps({"angle_deg": 1.0})]
    )
    assert [screen.shown for screen in screens] == ([] if shown is None else [shown])
    assert opened.time_s == 1.95
    assert opened.asked["speed"] == "real"


def test_a_line_of_watch_says_what_is_known() -> None:
    live = Made(angle_deg=1.234, cross_slope_deg=None, temperature_c=20.0)
    live.relative_humidity_pct, live.pressure_hpa = 50.0, 1013.0
    levels = {"beam_1": True, "upper_limit": False, "start": True}
    machine: Any = Made(live=live, inputs=Made(levels=lambda: levels))
    line = watching.describe(machine)
    assert line.startswith("angle 1.23°  across –  air 20.0 °C  50 %RH")
    assert line.endswith("active: beam 1, start")
    levels.clear()
    assert watching.describe(machine, "us").endswith("active: none")
    assert "68.0 °F" in watching.describe(machine, "us")
