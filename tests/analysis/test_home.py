"""Home readings out of run files: which count, and what their raise showed."""

import math
from pathlib import Path
from typing import Any

import msgspec
import pytest

from rig.analysis.home import home_reading as home_reading_of
from rig.analysis.home import home_readings, home_records
from rig.runfile.model import Event, Line, Samples
from rig.runfile.reader import RunFile, read_run
from tests.analysis.slides import RAISE_S, one_beam, run_file
from tests.calibration.example import calibration

DAY_1 = "2026-11-25T08:00:00Z"


def home_reading(angle_deg: float = 0.1, cross_deg: float = 0.0) -> Event:
    return Event(
        t_s=3.0, event="home_reading", detail={"angle_deg": angle_deg, "cross_deg": cross_deg}
    )


def made(started_at: str = DAY_1, *, top_deg: float = 15.0, **more: Any) -> RunFile:
    """A run raised at 1 °/s unless said otherwise; the bag breaks the beam at `top_deg`."""
    rate = more.pop("rate_deg_s", 1.0)
    edges = one_beam((top_deg / rate, top_deg / rate + 0.2))
    reading = more.pop("reading", home_reading())
    extra = [] if reading is None else [reading]
    return run_file(rate, edges, extra=extra, started_at=started_at, **more)


def kept(folder: Path, *runs: RunFile) -> Path:
    """The runs as files."""
    for number, run in enumerate(runs):
        lines: list[Line] = [run.header, *run.events, *run.samples, *run.steps]
        data = b"".join(msgspec.json.encode(line) + b"\n" for line in lines)
        (folder / f"{number}.run.jsonl").write_bytes(data)
    return folder


def raised(folder: Path, run: RunFile) -> tuple[float | None, float | None]:
    """Shift of the hinge and bend by one run."""
    _, (record,) = home_records(home_readings([kept(folder, run)]))
    return record.axis_shift_deg, record.bend_deg


def test_readings_are_less_the_calibrations_and_in_order_of_time(tmp_path: Path) -> None:
    twisted = (0.0, math.cos(math.radians(1.0)), math.sin(math.radians(1.0)))
    own = calibration(home_angle_deg=0.3, home_cross_deg=0.2, axis=twisted)
    kept(
        tmp_path,
        made("2026-11-27T20:00:00Z", calibration=own, reading=home_reading(0.1, 0.5)),
        made(DAY_1, calibration=own, reading=home_reading(0.4, 0.1)),
    )
    at, records = home_records(home_readings([tmp_path]))
    assert at == own.made_at
    assert [record.started_at for record in records] == [DAY_1, "2026-11-27T20:00:00Z"]
    assert [record.day for record in records] == [0.0, 2.5]
    assert [record.angle_deg for record in records] == pytest.approx([0.1, -0.2])
    assert [record.cross_deg for record in records] == pytest.approx([-0.1, 0.3])


def test_only_runs_of_one_calibration_count_the_newest_unless_it_is_named(tmp_path: Path) -> None:
    old, new = calibration(), calibration(made_at="2026-11-01T08:00:00Z")
    no_calibration = made(DAY_1)
    no_calibration.header = msgspec.structs.replace(no_calibration.header, calibration=None)
    kept(
        tmp_path,
        made(DAY_1, calibration=new),
        made(DAY_1, calibration=old),
        made("2026-11-26T08:00:00Z", calibration=old),
        made(DAY_1, calibration=new, reading=None),
        no_calibration,
    )
    (tmp_path / "broken.run.jsonl").write_bytes(b"{")
    assert [
        len(home_records(home_readings([tmp_path], at), at)[1])
        for at in (None, new.made_at, old.made_at)
    ] == [
        1,
        1,
        2,
    ]
    both = [one for at in (old, new) for one in home_readings([tmp_path], at.made_at)]
    assert (len(both), home_records(both)[0]) == (3, new.made_at)
    assert home_records(home_readings([tmp_path]), "2020-01-01T00:00:00Z") == (
        "2020-01-01T00:00:00Z",
        [],
    )


def test_a_run_without_a_calibration_has_no_reading() -> None:
    run = made(DAY_1)
    assert home_reading_of(run) is not None
    run.header = msgspec.structs.replace(run.header, calibration=None)
    assert home_reading_of(run) is None


def test_a_folder_without_readings_has_no_history(tmp_path: Path) -> None:
    assert home_records(home_readings([kept(tmp_path, made(reading=None))])) == (None, [])


def grown(run: RunFile, by: float) -> RunFile:
    """Steps that say more than the sensor, in proportion to the angle."""
    more = made(rate_deg_s=1.0 + by, top_deg=15.0 * (1.0 + by))
    run.steps = [
        msgspec.structs.replace(line, count=other.count)
        for line, other in zip(run.steps, more.steps, strict=True)
    ]
    return run


@pytest.mark.parametrize("by", [0.01, -0.01])
def test_a_bend_is_the_growth_of_sensor_less_steps_over_20_degrees(
    tmp_path: Path, by: float
) -> None:
    _, bend = raised(tmp_path, grown(made(), by))
    assert bend == pytest.approx(-20.0 * by / (1.0 + by), abs=0.01)


@pytest.mark.parametrize("slip_deg", [0.5, -0.5])
def test_a_sensor_that_turned_on_its_mount_shows_in_the_raise(
    tmp_path: Path, slip_deg: float
) -> None:
    slip = math.radians(slip_deg)
    turned = calibration(axis=(-math.sin(slip), math.cos(slip), 0.0), filter_delay_ms=22.0)
    shift, _ = raised(tmp_path, made(calibration=turned))
    assert shift == pytest.approx(0.5, abs=0.02)


def test_the_filters_delay_is_some_milliseconds(tmp_path: Path) -> None:
    _, bend = raised(tmp_path, made(calibration=calibration(filter_delay_ms=22.0)))
    assert bend == pytest.approx(0.0, abs=0.01)


@pytest.mark.parametrize(
    ("top_deg", "more", "is_seen"),
    [
        # The first second is left out, and the last part of a block.
        (11.3, {}, True),
        (10.9, {}, False),
        # 200 samples are 0.96 s.
        (28.2, {"rate_deg_s": 14.0}, True),
        (26.8, {"rate_deg_s": 14.0}, False),
    ],
)
def test_a_short_raise_shows_neither_hinge_nor_bend(
    tmp_path: Path, top_deg: float, more: dict[str, Any], is_seen: bool
) -> None:
    assert (raised(tmp_path, made(top_deg=top_deg, **more))[1] is not None) is is_seen


def test_without_steps_there_is_no_bend(tmp_path: Path) -> None:
    run = made()
    run.steps = run.steps[::150]
    assert raised(tmp_path, run)[1] is not None
    run.steps = [run.steps[0], run.steps[-1]]
    assert raised(tmp_path, run) == (None, None)


def test_a_raise_without_a_slide_counts_to_its_end(tmp_path: Path) -> None:
    run = made(top_deg=15.0)
    ended = Event(t_s=RAISE_S + 14.0, event="raise_ended")
    run.events = [*(e for e in run.events if not e.event.startswith("beam")), ended]
    assert raised(tmp_path, run)[1] is not None
    run.events = run.events[:-1]
    assert raised(tmp_path, run) == (None, None)


def test_what_shakes_the_board_as_it_starts_is_left_out(tmp_path: Path) -> None:
    def shaken(line: Samples) -> Samples:
        if not RAISE_S - 0.1 < line.t_s < RAISE_S + 0.6:
            return line
        return msgspec.structs.replace(line, counts=[(x, y + 900, z) for x, y, z in line.counts])

    run = made()
    run.samples = [shaken(line) for line in run.samples]
    shift, _ = raised(tmp_path, run)
    assert shift == pytest.approx(0.0, abs=0.02)


def test_runs_of_other_calibrations_are_only_glanced_at(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    old, new = calibration(), calibration(made_at="2026-11-01T08:00:00Z")
    kept(tmp_path, made(DAY_1, calibration=old), made(DAY_1, calibration=new))
    read: list[str] = []

    def reading(path: Path) -> RunFile:
        read.append(path.name)
        return read_run(path)

    monkeypatch.setattr("rig.analysis.home.read_run", reading)
    assert len(home_readings([tmp_path])) == 1
    assert read == ["1.run.jsonl"]


def test_a_run_whose_time_is_unreadable_has_no_place_in_the_history(tmp_path: Path) -> None:
    run = made(DAY_1)
    run.header = msgspec.structs.replace(run.header, started_at="yesterday")
    assert home_readings([kept(tmp_path, run)]) == []


def test_a_count_that_no_screw_can_have_bends_nothing(tmp_path: Path) -> None:
    plain = made()
    stray = msgspec.structs.replace(plain.steps[5], t_s=plain.steps[5].t_s + 0.01, count=10**9)
    with_stray = made()
    with_stray.steps = sorted([*plain.steps, stray], key=lambda line: line.t_s)
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    assert raised(tmp_path / "b", with_stray) == raised(tmp_path / "a", plain)
