"""The measurement of pulse timing: that it measures, not how fast this machine is."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from rig.clock import Task
from rig.opening import open_twin
from rig.procedures import timing
from rig.procedures.requests import plan_series
from rig.procedures.runs import start_watching
from rig.runfile.reader import read_run
from rig.settings.model import Settings
from rig.twin.draws import draw_scenario
from tests.twin_of import twin_of


def test_errors_are_of_the_interval() -> None:
    times = np.arange(100) / 1000.0
    times[50:] += 200e-6
    times[70:] -= 300e-6
    found = timing._judge("x", 1000, times)  # noqa: SLF001 - the arithmetic, without pulses
    assert found.median_us == pytest.approx(0.0, abs=1e-3)
    assert found.worst_us == pytest.approx(300.0, abs=1e-3)
    # 99 intervals in 99 ms less 0.1 ms.
    assert found.real_rate_hz == pytest.approx(1001.0, abs=0.1)


def test_all_ways_are_measured_while_samples_are_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(timing, "RATES_HZ", (400,))
    rig = open_twin(Settings(), draw_scenario(3), 3, "real")
    machine = rig.machine
    (request,) = plan_series(Settings(), 1, source="twin", started=machine.clock.utc_now())

    def measure() -> Task[Any]:
        watchers = start_watching(machine)
        found = yield from timing.measure_timing(machine, request, tmp_path, 0.5)
        for watcher in watchers:
            watcher.cancel()
        return found

    with rig:
        found = rig.run(measure())
        assert not twin_of(rig).world.motor.is_enabled
        assert machine.stepper.count == 0, "the board was moved"
    assert [(row.way, row.pulses) for row in found] == [
        (timing.WAY_OWN, 200),
        (timing.WAY_SLEEP, 200),
        (timing.WAY_BLINK, 200),
    ]
    own = found[0]
    assert own.real_rate_hz == pytest.approx(400, rel=0.05)
    assert own.median_us < min(row.median_us for row in found[1:])
    (path,) = tmp_path.rglob("*.run.jsonl")
    assert sum(len(line.counts) for line in read_run(path).samples) > 100


def test_each_way_is_on_for_half_of_a_period_and_off_for_the_other(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """At 400 pulses/s that is 1.25 ms each."""
    blinks: list[Any] = []
    monkeypatch.setattr(
        timing._Stamped,  # noqa: SLF001 - the real one keeps a time of its own
        "blink",
        lambda _, on_time, off_time, n, background: blinks.append(
            (on_time, off_time, n, background)
        ),
    )
    rig = open_twin(Settings(), draw_scenario(3), 3)
    clock = rig.machine.clock
    pauses: list[float] = []
    with rig:
        rig.machine.stepper.close()
        monkeypatch.setattr(clock, "pause_s", pauses.append)
        rig.run(timing._blink(rig.machine, 400, 7))  # noqa: SLF001
        stamps = rig.run(timing._sleep(rig.machine, 400, 7))  # noqa: SLF001
    assert blinks == [(0.00125, 0.00125, 7, False)]
    assert pauses == [0.00125] * 14
    assert len(stamps) == 7
