"""What a snapshot says of the machine, how far a series is, and that showing never disturbs it."""

from types import SimpleNamespace
from typing import Any, cast

import pytest

from rig.clock import At, Task, VirtualClock
from rig.control.faults.table import remedy
from rig.control.live import Live
from rig.control.mover import StoppedError
from rig.errors import BadInputError, MachineFaultError
from rig.panel.course import CourseKeeper
from rig.panel.form import SeriesForm, requests_of
from rig.panel.slides import KEPT
from rig.panel.view import Notice, Snapshot, Viewer, notice_of
from rig.settings.model import Settings
from tests.panel.paper import NOW

SETTINGS = Settings()
FIRST, SECOND = requests_of(
    SeriesForm(runs="2", bag="Heron 1", rate="0.5", dwell="10"), SETTINGS, "twin", NOW
)


class Paper:
    """As much of a machine as a view looks at."""

    def __init__(self) -> None:
        self.now_s = 100.0
        self.clock: Any = SimpleNamespace(time_s=lambda: self.now_s)
        self.settings = SETTINGS
        self.live = Live(angle_deg=12.0, cross_slope_deg=0.1, step_angle_deg=12.1)
        self.levels = {"beam_1": False, "emergency_stop": False, "limit_lower": True}
        self.inputs = SimpleNamespace(beams=1, levels=lambda: self.levels)
        self.is_homed = self.has_motor = True
        self.latched: MachineFaultError | None = None
        self.beats, self.stops, self.is_moving = 12, 3, True


@pytest.fixture
def machine() -> Paper:
    return Paper()


@pytest.fixture
def viewer(machine: Paper) -> Viewer:
    return Viewer(cast(Any, machine))


def result(angle_deg: float | None = 20.1, slide_number: int | None = None) -> Any:
    row = {"onset_angle_deg": angle_deg, "u_onset_angle_deg": 0.2, "slide_number": slide_number}
    return cast(Any, SimpleNamespace(**row, outcome="slid", flags=[], valid=True))


# -- one look -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("age_s", "shown"), [(0.0, True), (1.99, True), (2.01, False), (None, False)]
)
def test_an_angle_older_than_two_seconds_is_not_shown(
    machine: Paper, viewer: Viewer, age_s: float | None, shown: bool
) -> None:
    machine.live.angle_seen_s = None if age_s is None else machine.now_s - age_s
    snap = viewer.look()
    assert snap.angle_deg == (12.0 if shown else None)
    assert snap.cross_slope_deg == (0.1 if shown else None)


def test_an_angle_by_steps_is_shown_on_a_homed_board_alone(machine: Paper, viewer: Viewer) -> None:
    assert viewer.look().step_angle_deg == 12.1
    machine.is_homed = False
    assert viewer.look().step_angle_deg is None


def test_beams_stand_beside_the_other_inputs(machine: Paper, viewer: Viewer) -> None:
    snap = viewer.look()
    assert (snap.beams_broken, snap.inputs) == ((False,), ("limit_lower",))
    machine.inputs.beams = 2
    machine.levels = {"beam_1": True, "beam_2": False, "emergency_stop": True, "start": False}
    snap = viewer.look()
    assert (snap.beams_broken, snap.inputs) == ((True, False), ("emergency_stop",))


@pytest.mark.parametrize(
    ("state", "wants", "waits"),
    [
        ("placing", "Place the bag.", True),
        ("placing", "", False),
        ("dwelling", "Wait for the air.", False),
    ],
)
def test_a_start_is_waited_for_while_the_machine_wants_the_bag(
    machine: Paper, viewer: Viewer, state: Any, wants: str, waits: bool
) -> None:
    machine.live.state, machine.live.wants = state, wants
    snap = viewer.look()
    assert (snap.state, snap.wants, snap.waits_for_start) == (state, wants, waits)


def test_a_kept_fault_is_shown_as_kept(machine: Paper, viewer: Viewer) -> None:
    assert not viewer.look().is_latched
    machine.latched = MachineFaultError("disk", "It is full.")
    assert viewer.look().is_latched


def test_the_rest_is_shown_as_the_machine_has_it(machine: Paper, viewer: Viewer) -> None:
    machine.live.temperature_c, machine.live.relative_humidity_pct = 23.0, 51.0
    machine.live.pressure_hpa, machine.live.imu_temperature_c = 1013.0, 25.0
    viewer.is_busy, viewer.unfinished = True, "1 of 3 runs are made."
    viewer.notice = Notice("note", "Reset", "")
    snap = viewer.look()
    assert (snap.temperature_c, snap.relative_humidity_pct) == (23.0, 51.0)
    assert (snap.pressure_hpa, snap.imu_temperature_c) == (1013.0, 25.0)
    assert (snap.is_busy, snap.unfinished) == (True, "1 of 3 runs are made.")
    assert (snap.notice, snap.time_s) == (viewer.notice, 100.0)
    assert (snap.course, snap.dots) == (None, ())
    assert (snap.beat, snap.stops, snap.is_moving) == (12, 3, True)


def test_what_ended_a_series_becomes_a_notice() -> None:
    pressed = MachineFaultError("emergency_stop", "It was pressed.")
    assert notice_of(pressed) == Notice(
        "fault", "Emergency stop", "It was pressed.", remedy("emergency_stop")
    )
    fault = MachineFaultError("disk", "It is full.")
    assert notice_of(fault) == Notice(
        "fault", "The machine stopped itself", "It is full.", remedy("disk")
    )
    assert notice_of(BadInputError("No calibration.")) == Notice(
        "fault", "This cannot be done", "No calibration."
    )
    assert notice_of(StoppedError("Stopped by a key.")) == Notice(
        "stop", "Stopped", "Stopped by a key."
    )


# -- dots -----------------------------------------------------------------------------------------


def test_the_last_24_slides_are_shown(viewer: Viewer) -> None:
    assert KEPT == 24
    for _ in range(25):
        viewer.made_run(result())
    assert [dot.number for dot in viewer.look().dots] == list(range(2, 26))


def test_a_slide_has_its_own_number_and_else_the_next_one(viewer: Viewer) -> None:
    for number in (None, 7, None, 7):
        viewer.show_run(result(slide_number=number))
    viewer.made_run(None)
    assert [dot.number for dot in viewer.look().dots] == [1, 7, 8, 7]


def test_another_series_begins_without_dots_and_one_that_goes_on_keeps_them(
    viewer: Viewer,
) -> None:
    viewer.show_run(result())
    viewer.begin_series(2, n_before=1)
    assert len(viewer.look().dots) == 1
    viewer.begin_series(3)
    assert viewer.look().dots == ()
    viewer.show_run(result())
    assert [dot.number for dot in viewer.look().dots] == [1]


# -- how far a series is --------------------------------------------------------------------------


def test_runs_are_counted_from_those_made_earlier(viewer: Viewer) -> None:
    viewer.begin_run(FIRST)
    viewer.made_run(result())
    assert viewer.look().course is None, "a run of no series counts for none"
    viewer.begin_series(2, n_before=3)
    course = viewer.look().course
    assert course is not None
    assert course == (5, 3, None, None, 3)
    viewer.begin_run(FIRST)
    viewer.made_run(None)
    course = viewer.look().course
    assert course is not None
    assert (course.n_all, course.n_done, course.request) == (5, 4, FIRST)


def test_the_time_left_is_first_guessed_and_then_measured(machine: Paper) -> None:
    """The guess: 45° at 0.5 °/s, a rest of 10 s, 20 s for the rest."""
    assert SETTINGS.linkage.soft_limit_deg == 45.0
    keeper = CourseKeeper(cast(Any, machine), n_left=4)
    assert keeper.look().left_s is None
    keeper.begin(FIRST)
    assert keeper.look().left_s == pytest.approx(4 * 120.0)
    machine.now_s += 20.0
    assert keeper.look().left_s == pytest.approx(4 * 120.0 - 20.0)
    machine.now_s += 1000.0
    assert keeper.look().left_s == pytest.approx(12.0 + 3 * 120.0), "the present run takes a while"
    machine.now_s = 160.0
    keeper.made()
    keeper.begin(SECOND)  # 60 s after the first
    assert keeper.look().left_s == pytest.approx(3 * 60.0)
    machine.now_s += 30.0
    assert keeper.look().left_s == pytest.approx(30.0 + 2 * 60.0)
    machine.now_s = 260.0
    keeper.made()
    keeper.begin(SECOND)  # 160 s after the first, so 80 s each
    assert keeper.look().left_s == pytest.approx(2 * 80.0)
    keeper.made()
    keeper.begin(SECOND)
    keeper.made()
    assert keeper.look().left_s == 0.0


# -- looking again and again ----------------------------------------------------------------------


def follow(publish: Any, until_s: float = 1.0) -> None:
    """Follow a machine for a while."""
    machine = Paper()
    machine.clock = clock = VirtualClock()
    viewer = Viewer(cast(Any, machine), lambda snap: publish(snap, clock))

    def watch() -> Task[None]:
        yield At(clock.time_s() + until_s)

    clock.spawn(viewer.follow(), "view")
    clock.run(watch())


def test_a_page_gets_twenty_looks_a_second() -> None:
    seen: list[Snapshot] = []
    follow(lambda snap, _: seen.append(snap), until_s=1.01)
    times_s = [snap.time_s - seen[0].time_s for snap in seen]
    assert times_s == pytest.approx([0.05 * i for i in range(21)])


def test_what_goes_wrong_in_showing_ends_nothing(caplog: pytest.LogCaptureFixture) -> None:
    seen: list[float] = []

    def publish(snap: Snapshot, _: VirtualClock) -> None:
        seen.append(snap.time_s)
        if len(seen) == 1:
            raise ValueError("no place for it")

    follow(publish)
    assert len(seen) > 10
    assert [record.getMessage() for record in caplog.records] == ["the view could not be made"]


def test_looks_that_were_missed_are_not_made_up_for() -> None:
    seen: list[float] = []

    def publish(snap: Snapshot, clock: VirtualClock) -> None:
        seen.append(snap.time_s)
        if len(seen) == 1:
            clock.pause_s(0.4)  # a slow one

    follow(publish)
    assert [t - seen[0] for t in seen[1:4]] == pytest.approx([0.4, 0.45, 0.5])
