"""The first line of a run file, and the disk that it goes to."""

from datetime import UTC, datetime
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import msgspec
import pytest

from rig.errors import BadInputError
from rig.procedures import header
from rig.procedures.requests import plan_series
from rig.runfile.model import ImuSetup
from rig.settings.model import Settings
from tests.calibration.example import calibration

STARTED = datetime(2026, 11, 25, 9, 30, tzinfo=UTC)
SETUP = ImuSetup(model="lsm6dsox", rate_hz=208.0, lowpass_hz=20.8, mode="fifo")


def machine(beams: int = 1) -> Any:
    return SimpleNamespace(
        settings=Settings(name="bench"),
        inputs=SimpleNamespace(beams=beams),
        imu=SimpleNamespace(setup=SETUP),
        calibration=calibration(),
    )


def test_the_header_holds_what_was_asked_and_what_the_machine_is() -> None:
    (request,) = plan_series(
        Settings(),
        1,
        source="twin",
        started=STARTED,
        rate_deg_s=0.5,
        dwell_s=3.0,
        gap_mm=11.0,
        bag="X",
        face="grip",
        board="oak",
        session="evening",
        operator="me",
    )
    request = msgspec.structs.replace(request, slides_before=7, approach_deg=12.0)
    made = header.make_header(machine(2), request, "id", "2026-11-25T09:30:00.000Z", "blade")
    for name in request.__struct_fields__:
        assert getattr(made, name) == getattr(request, name), name
    assert (made.rate_deg_s, made.dwell_s, made.gap_mm, made.session) == (0.5, 3.0, 11.0, "evening")
    assert (made.run_id, made.rig, made.placing) == ("id", "bench", "blade")
    assert made.calibration == calibration()
    assert made.settings.beams == 2
    assert made.settings.imu == SETUP
    assert header.make_header(machine(1), request, "id", "x", "hand").settings.beams == 1


def test_what_is_not_asked_for_is_the_settings() -> None:
    settings = Settings()
    (request,) = plan_series(settings, 1, source="rig", started=STARTED)
    assert request.rate_deg_s == settings.motion.rate_deg_s
    assert request.dwell_s == settings.cycle.dwell_s
    assert request.gap_mm == settings.bag.gap_mm
    assert (request.session, request.series) == ("2026-11-25", "2026-11-25T09:30:00Z")
    # A dwell of nothing is asked for, too.
    assert plan_series(settings, 1, source="rig", started=STARTED, dwell_s=0.0)[0].dwell_s == 0.0


@pytest.mark.parametrize(
    ("has_service", "is_set", "known"),
    [(False, False, None), (True, False, False), (True, True, True)],
)
def test_a_rigs_wall_clock_is_asked_for_and_a_twins_is_right(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    has_service: bool,
    is_set: bool,
    known: bool | None,
) -> None:
    monkeypatch.setattr(header, "TIMESYNC", tmp_path / "timesync")
    monkeypatch.setattr(header, "CLOCK_SYNCHRONISED", tmp_path / "timesync" / "synchronized")
    if has_service:
        (tmp_path / "timesync").mkdir()
    if is_set:
        (tmp_path / "timesync" / "synchronized").touch()
    for source, wanted in (("rig", known), ("twin", True)):
        (request,) = plan_series(Settings(), 1, source=source, started=STARTED)  # type: ignore[arg-type]
        made = header.make_header(machine(), request, "id", "x", "hand")
        assert made.clock_synchronised is wanted


@pytest.mark.parametrize(("free_mb", "is_enough"), [(50.0, True), (49.9, False)])
def test_a_run_needs_free_space_where_its_folder_will_lie(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, free_mb: float, is_enough: bool
) -> None:
    asked: list[Path] = []

    def usage(place: Path) -> SimpleNamespace:
        asked.append(place)
        return SimpleNamespace(free=free_mb * 1e6)

    monkeypatch.setattr("rig.control.process.host.shutil.disk_usage", usage)
    folder = tmp_path / "not" / "there" / "yet"
    if is_enough:
        header.check_free_space(folder, 50.0)
    else:
        with pytest.raises(BadInputError, match=r"Only 50 MB are free.*needs 50 MB"):
            header.check_free_space(folder, 50.0)
    assert asked == [tmp_path]
