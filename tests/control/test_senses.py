"""The tasks that read the sensors: their periods, their checks, their listeners."""

from typing import Any

import numpy as np
import pytest

from rig.control.machine import Machine
from rig.control.mover import Mover
from rig.devices.climate import ClimateReading
from rig.errors import MachineFaultError
from rig.runfile.model import Climate
from tests.control.machine_bench import Bench, caught

GOOD = ClimateReading(22.0, 51.0, 1004.0)


def times_of(bench: Bench, owner: Any, name: str) -> list[float]:
    """When something is called from now on."""
    times: list[float] = []
    really = getattr(owner, name)

    def noted() -> Any:
        times.append(bench.clock.time_s())
        return really()

    setattr(owner, name, noted)
    return times


@pytest.mark.parametrize(("moves", "period_s"), [(False, 0.2), (True, 0.04)])
def test_the_angle_is_read_more_often_while_something_moves(
    bench: Bench, monkeypatch: pytest.MonkeyPatch, moves: bool, period_s: float
) -> None:
    monkeypatch.setattr(Machine, "is_moving", moves)
    times = times_of(bench, bench.machine.imu, "read_batches")
    bench.run(Mover(bench.machine).wait_s(1.0))
    assert np.diff(times) == pytest.approx(period_s, abs=0.005)


def test_the_sensors_registers_are_compared_every_2_s(bench: Bench) -> None:
    compared = times_of(bench, bench.machine.imu, "verify")
    read = times_of(bench, bench.machine.imu, "temperature_c")
    bench.run(Mover(bench.machine).wait_s(6.5))
    for times in (compared, read):
        assert len(times) == 4
        assert np.diff(times) == pytest.approx(2.0, abs=0.21)


def test_a_sensor_that_has_lost_its_configuration_stops_it(bench: Bench) -> None:
    assert bench.rig.twin is not None
    chip = bench.rig.twin.imu
    lose = bench.after(1.0, lambda: chip.reset(bench.clock.time_s()))
    assert caught(bench, Mover(bench.machine).wait_s(5.0), lose) in ("imu_reset", "imu_silent")


def test_the_climate_is_read_as_often_as_the_settings_say(bench: Bench) -> None:
    times = times_of(bench, bench.machine.climate, "read")
    bench.run(Mover(bench.machine).wait_s(6.5))
    assert np.diff(times) == pytest.approx(2.0, abs=0.02)


@pytest.mark.parametrize(
    ("bad", "is_doubtful"),
    [
        (ClimateReading(None, 51.0, 1004.0), True),
        (ClimateReading(22.0, None, 1004.0), True),
        (ClimateReading(22.0, 51.0, None), False),
    ],
)
def test_doubtful_climates_count_until_a_good_one_comes(
    bench: Bench, bad: ClimateReading, is_doubtful: bool
) -> None:
    readings = iter([GOOD, bad, bad, GOOD, bad])
    counted: list[int] = []

    def read() -> ClimateReading:
        counted.append(bench.machine.doubtful_climates)
        return next(readings)

    bench.machine.climate.read = read  # type: ignore[method-assign]
    bench.run(Mover(bench.machine).wait_s(8.5))
    counted.append(bench.machine.doubtful_climates)
    assert counted == ([0, 0, 1, 2, 0, 1] if is_doubtful else [0] * 6)


@pytest.mark.parametrize(("chip_c", "source"), [(31.5, "imu"), (None, None)])
def test_the_boards_temperature_is_marked_as_the_chips(
    bench: Bench, monkeypatch: pytest.MonkeyPatch, chip_c: float | None, source: str | None
) -> None:
    monkeypatch.setattr(bench.machine.imu, "temperature_c", lambda: chip_c)
    bench.machine.calibration = None
    bench.recorder("homing")
    bench.run(Mover(bench.machine).wait_s(2.0))
    *_, found = [line for line in bench.lines.lines if isinstance(line, Climate)]
    assert (found.board_temperature_c, found.board_temperature_source) == (chip_c, source)


def test_samples_go_to_the_file_and_to_listeners_while_they_listen(bench: Bench) -> None:
    bench.recorder("raising")
    heard: list[tuple[int, int, int]] = []

    def listen() -> Any:
        with bench.machine.listening_to_counts(heard):
            yield from Mover(bench.machine).wait_s(1.0)
        n = len(heard)
        yield from Mover(bench.machine).wait_s(1.0)
        return n

    assert bench.run(listen()) == len(heard) == pytest.approx(208, abs=50)
    bench.machine.enter("lowering")
    kept = [sample for line in bench.lines.samples() for sample in line.counts]
    assert len(kept) > 400
    assert heard == kept[kept.index(heard[0]) :][: len(heard)]


def test_a_sample_is_seen_at_the_time_after_the_last_of_its_batch(bench: Bench) -> None:
    bench.run(Mover(bench.machine).wait_s(1.0))
    seen_s = bench.machine.live.angle_seen_s
    assert seen_s is not None
    assert bench.clock.time_s() - seen_s == pytest.approx(0.0, abs=0.21)
    assert bench.machine.live.angle_deg == pytest.approx(bench.world.motor.angle_deg, abs=0.2)


def test_a_sensor_in_hand_is_not_judged_and_judged_again_after_that(bench: Bench) -> None:
    machine = bench.machine
    health = machine._health  # noqa: SLF001 - nothing public leads to it
    assert health is not None
    health.problem = MachineFaultError("imu_frozen", "All the same.")
    assert machine.sensor_problem() is not None
    seen: list[object] = []
    with pytest.raises(ZeroDivisionError), machine.sensor_in_hand():
        seen.append(1 / len(seen) if machine.sensor_problem() is None else None)
    assert machine._health is not None  # noqa: SLF001
    assert machine.sensor_problem() is None


def test_what_the_samples_show_is_told(bench: Bench) -> None:
    assert bench.rig.twin is not None
    bench.rig.twin.imu._sample = lambda times: [(0.0, 0.1, 1.0)] * len(times)  # noqa: SLF001 - what the chip measures
    assert caught(bench, Mover(bench.machine).wait_s(2.0)) == "imu_frozen"


def test_a_sensor_without_a_sample_has_no_angle(bench: Bench) -> None:
    with pytest.raises(MachineFaultError) as error:
        bench.machine.angles_deg([])
    assert error.value.cause == "imu_silent"
    bench.machine.calibration = None
    with pytest.raises(RuntimeError, match="without a calibration"):
        bench.machine.angles_deg([(1, 2, 3)])
