"""What moved, wore: pushes and slides count however their run ended."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from rig.clock import At, Task
from rig.control.stop import StopRequest
from rig.errors import RigError
from rig.opening import OpenRig, open_twin
from rig.procedures.requests import plan_series
from rig.procedures.series.log import Begun, Cut, Ended, SeriesLog, SeriesOptions, Wear
from rig.procedures.series.series import Hooks, SeriesMaker, begin_series
from rig.twin.scenario import Scenario
from tests.control.blade_rig import SETTINGS, soft_bag
from tests.twin_of import twin_of

END = Callable[[OpenRig], None]


def press_emergency_stop(rig: OpenRig) -> None:
    twin_of(rig).world.press("emergency_stop", True)


def ask_to_stop(rig: OpenRig) -> None:
    rig.machine.events.put(StopRequest("a test"))


def make(
    folder: Path, state: str | None, end: END, scenario: Scenario, seed: int = 3
) -> tuple[SeriesLog, Ended | Cut]:
    """A run that something ends in a state, some seconds after it began; the log, closed."""
    rig = open_twin(SETTINGS, scenario, seed)
    clock = rig.machine.clock

    def watch() -> Task[None]:
        while rig.machine.live.state != state or not rig.machine.is_moving:
            yield At(clock.time_s() + 0.02)
        if state == "placing":
            yield At(clock.time_s() + 3.0)
        end(rig)

    now = clock.utc_now()
    with SeriesLog(folder) as log:
        asked = plan_series(SETTINGS, 1, source="twin", started=now, bag="X", face="grip")
        maker = SeriesMaker(
            rig.machine, log, begin_series(log, asked, SeriesOptions(), now), Hooks()
        )
        beside: list[Task[Any]] = [] if state is None else [watch()]
        with rig:
            try:
                rig.run(maker.make(start_now=True), beside=beside)
            except RigError:
                assert state is not None
        log.settle(now)
        return log, next(e for e in log.entries if isinstance(e, Ended | Cut))


@pytest.mark.parametrize("end", [press_emergency_stop, ask_to_stop])
@pytest.mark.parametrize(
    ("state", "wear"),
    [
        ("homing", Wear(slides=0, pushes=0)),
        ("placing", Wear(slides=0, pushes=1)),
        ("raising", Wear(slides=0, pushes=1)),
        ("lowering", Wear(slides=1, pushes=1)),
    ],
)
def test_a_run_that_a_fault_or_a_person_ends_has_worn(
    tmp_path: Path, state: str, wear: Wear, end: END
) -> None:
    log, last = make(tmp_path, state, end, soft_bag())
    assert isinstance(last, Ended)
    assert last.outcome == ("fault" if end is press_emergency_stop else "stopped")
    assert log.wear("X", "grip") == wear


@pytest.fixture(scope="module")
def folded(tmp_path_factory: pytest.TempPathFactory) -> tuple[SeriesLog, Ended | Cut]:
    # With this seed the first push folds at this share, and the second does not.
    scenario = soft_bag(4, blade={"fold_share": 0.4})
    return make(tmp_path_factory.mktemp("folded"), None, ask_to_stop, scenario, 4)


def test_a_bag_that_was_brought_down_slid_once_more(folded: tuple[SeriesLog, Ended | Cut]) -> None:
    log, last = folded
    assert isinstance(last, Ended)
    assert (last.outcome, last.slid, last.pushes, last.brought_down) == ("slid", True, 2, 1)
    assert log.wear("X", "grip") == Wear(slides=2, pushes=2)


def test_a_run_that_was_cut_off_has_worn_by_what_its_file_tells(
    folded: tuple[SeriesLog, Ended | Cut], tmp_path: Path
) -> None:
    begun = next(e for e in folded[0].entries if isinstance(e, Begun))
    whole = (folded[0].folder / begun.run_file).read_bytes()
    worn = {
        b"bag_brought_down": Wear(slides=1, pushes=1),
        b"raise_started": Wear(slides=1, pushes=2),
    }
    for word, wear in worn.items():
        folder = tmp_path / word.decode()
        path = folder / begun.run_file
        path.parent.mkdir(parents=True)
        path.write_bytes(whole[: whole.index(b"\n", whole.index(word)) + 1])
        with SeriesLog(folder) as log:
            log.add(begun)
            ((_, cut),) = log.settle(open_twin(SETTINGS, soft_bag(), 3).machine.clock.utc_now())
            assert cut.pushes == wear.pushes
            assert log.wear("X", "grip") == wear
