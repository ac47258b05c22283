"""Single rules of the clocks: ties, deadlines in the past, cancelling, errors, the collector."""

import gc
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import pytest

from rig.clock import (
    At,
    Cancelled,
    Clock,
    Handle,
    QuietCollector,
    RealClock,
    Task,
    Until,
    VirtualClock,
)

BOTH = pytest.mark.parametrize("make_clock", [VirtualClock, RealClock])
MakeClock = Callable[[], Clock]
START = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)


def waits(clock: Clock, seconds: float) -> Task[str]:
    yield At(clock.time_s() + seconds)
    return "waited"


def test_virtual_wall_time_goes_with_the_virtual_time() -> None:
    clock = VirtualClock(50.0, START)
    assert (clock.time_s(), clock.utc_now()) == (50.0, START)
    clock.pause_s(90.0)
    assert (clock.time_s(), clock.utc_now()) == (140.0, START + timedelta(seconds=90))
    # There is no way back.
    clock.advance_to(100.0)
    assert clock.time_s() == 140.0


def test_wall_time_without_a_start_is_now() -> None:
    for clock in (VirtualClock(1e6), RealClock()):
        assert abs((clock.utc_now() - datetime.now(UTC)).total_seconds()) < 60.0


@BOTH
def test_what_is_past_comes_at_once_and_time_stays(make_clock: MakeClock) -> None:
    clock = make_clock()

    def main() -> Task[None]:
        yield At(clock.time_s() + 0.01)
        now_s = clock.time_s()
        woken_s = yield At(now_s - 5.0)
        assert now_s <= woken_s < now_s + 1.0
        assert (yield Until(clock.queue(), now_s - 5.0)) is None
        assert now_s <= clock.time_s() < now_s + 1.0

    clock.run(main())


def test_tasks_that_are_due_together_run_in_the_order_in_which_they_waited() -> None:
    clock = VirtualClock()
    order: list[str] = []

    def one(name: str) -> Task[None]:
        order.append(f"{name} begins")
        yield At(1.0)
        order.append(name)
        yield At(1.0)
        order.append(f"{name} ends")

    def main() -> Task[None]:
        handles = [clock.spawn(one(name), name) for name in "ab"]
        for handle in handles:
            yield from handle.join()

    clock.run(main())
    assert order == ["a begins", "b begins", "a", "b", "a ends", "b ends"]


def test_a_pause_lets_nothing_run_beyond_its_end() -> None:
    clock = VirtualClock()
    seen: list[float] = []

    def ticks() -> Task[None]:
        for n in range(1, 6):
            yield At(float(n))
            seen.append(clock.time_s())

    def pauses_inside() -> Task[None]:
        yield At(1.5)
        clock.pause_s(10.0)
        assert seen == [1.0, 2.0, 3.0, 4.0, 5.0]

    def main() -> Task[None]:
        handle = clock.spawn(ticks(), "ticks")
        clock.spawn(pauses_inside(), "inside")
        yield At(0.0)
        clock.pause_s(1.0)
        assert (seen, clock.time_s()) == ([1.0], 1.0)
        yield from handle.join()

    clock.run(main())
    assert seen == [1.0, 2.0, 3.0, 4.0, 5.0]


@BOTH
def test_items_come_in_their_order_and_an_empty_queue_gives_none(make_clock: MakeClock) -> None:
    clock = make_clock()
    queue = clock.queue()
    assert queue.get_nowait() is None
    for item in (1, 2, 3):
        queue.put(item)
    assert [queue.get_nowait() for _ in range(4)] == [1, 2, 3, None]


@BOTH
def test_a_deadline_is_waited_for_and_an_item_before_it_is_not_lost(make_clock: MakeClock) -> None:
    clock = make_clock()
    queue = clock.queue()

    def main() -> Task[None]:
        begun_s = clock.time_s()
        assert (yield Until(queue, begun_s + 0.03)) is None
        assert clock.time_s() >= begun_s + 0.03
        queue.put("late")
        assert (yield Until(queue, begun_s)) == "late"
        # An old deadline wakes nobody out of a later wait.
        woken_s = yield At(clock.time_s() + 0.02)
        assert woken_s >= begun_s + 0.05

    clock.run(main())


@BOTH
def test_a_task_may_go_on_after_it_was_cancelled(make_clock: MakeClock) -> None:
    clock = make_clock()

    def stubborn() -> Task[str]:
        try:
            yield Until(clock.queue(), clock.time_s() + 60.0)
        except Cancelled:
            return "cleaned up"
        return "never"

    def main() -> Task[object]:
        handle = clock.spawn(stubborn(), "stubborn")
        yield At(clock.time_s() + 0.01)
        handle.cancel()
        found = yield from handle.join(clock.time_s() + 60.0)
        assert handle.is_done
        handle.cancel()
        return found

    assert clock.run(main()) == "cleaned up"


@BOTH
def test_a_cancelled_task_raises_nothing_and_a_failed_one_until_it_is_asked(
    make_clock: MakeClock,
) -> None:
    clock = make_clock()
    handles: list[Handle[str]] = []

    def fails() -> Task[str]:
        yield At(clock.time_s())
        raise ValueError("broken")

    def main() -> Task[None]:
        events = clock.queue()
        handles.append(clock.spawn(waits(clock, 60.0), "long"))
        handles.append(clock.spawn(fails(), "asked"))
        handles.append(clock.spawn(fails(), "reported", report_to=events))
        handles[0].cancel()
        assert (yield from handles[0].join()) is None
        assert isinstance(handles[0].error, Cancelled)
        assert handles[0].unseen_error is None
        done = yield Until(events, clock.time_s() + 60.0)
        assert (done.handle, str(done.error)) == (handles[2], "broken")
        while not handles[1].is_done:
            yield At(clock.time_s() + 0.001)
        assert str(handles[1].unseen_error) == "broken"
        with pytest.raises(ValueError, match="broken"):
            handles[1].result()
        assert handles[1].unseen_error is None

    clock.run(main())
    assert all(handle.is_done for handle in handles)
    assert handles[2].unseen_error is None


@BOTH
def test_a_task_that_ended_well_is_joined_at_once(make_clock: MakeClock) -> None:
    clock = make_clock()

    def main() -> Task[object]:
        handle = clock.spawn(waits(clock, 0.005), "short")
        yield At(clock.time_s() + 0.1)
        while not handle.is_done:
            yield At(clock.time_s() + 0.01)
        assert handle.error is None
        first = yield from handle.join(clock.time_s() - 1.0)
        second = yield from handle.join()
        assert handle.result() == second
        return first

    assert clock.run(main()) == "waited"


@BOTH
def test_the_main_tasks_own_error_comes_out_and_an_unseen_one_after_its_end(
    make_clock: MakeClock,
) -> None:
    clock = make_clock()

    def fails(word: str) -> Task[None]:
        yield At(clock.time_s())
        raise KeyError(word)

    def main(word: str) -> Task[None]:
        handle = clock.spawn(fails("other"), "other")
        while not handle.is_done:
            yield At(clock.time_s() + 0.001)
        if word:
            raise ValueError(word)

    with pytest.raises(ValueError, match="main"):
        clock.run(main("main"))
    with pytest.raises(KeyError, match="other"):
        clock.run(main(""))
    # The clock can be used again, and knows nothing of what was.
    assert clock.run(waits(clock, 0.001)) == "waited"


def test_a_task_that_was_cancelled_before_it_began_does_nothing() -> None:
    clock = VirtualClock()
    seen: list[str] = []

    def body() -> Task[None]:
        seen.append("began")
        yield At(clock.time_s() + 1.0)

    def main() -> Task[None]:
        handle = clock.spawn(body(), "body")
        handle.cancel()
        yield from handle.join()
        assert isinstance(handle.error, Cancelled)

    clock.run(main())
    assert seen == []


def test_a_real_task_waits_for_the_time_it_was_told() -> None:
    clock = RealClock()

    def main() -> Task[list[float]]:
        late = []
        for seconds in (0.0, 0.0002, 0.005, 0.03, 0.05):
            due_s = time.monotonic() + seconds
            late.append((yield At(due_s)) - due_s)
        return late

    late = clock.run(main())
    assert min(late) >= 0.0
    before_s = time.monotonic()
    clock.pause_s(0.02)
    assert time.monotonic() - before_s >= 0.02


def test_the_collector_is_quiet_meanwhile_and_then_as_it_was() -> None:
    assert gc.isenabled()
    with QuietCollector():
        assert not gc.isenabled()
        with QuietCollector():
            assert not gc.isenabled()
        assert not gc.isenabled()
    assert gc.isenabled()


def test_a_task_that_cancelled_itself_and_goes_on_waits_as_it_is_told() -> None:
    clock = VirtualClock()
    queue = clock.queue()
    handles: list[Handle[object]] = []

    def stubborn() -> Task[object]:
        handles[0].cancel()
        try:
            yield At(clock.time_s() + 1.0)
        except Cancelled:
            return (yield Until(queue, None)), clock.time_s()
        return "never"

    def main() -> Task[object]:
        handles.append(clock.spawn(stubborn(), "stubborn"))
        yield At(clock.time_s() + 5.0)
        queue.put("item")
        return (yield from handles[0].join())

    assert clock.run(main()) == ("item", 5.0)
