"""The same tasks on the real and on the virtual clock."""

import random
import threading
from collections.abc import Callable
from typing import Any

import pytest

from rig.clock import (
    At,
    Cancelled,
    Clock,
    Done,
    Handle,
    Queue,
    RealClock,
    Task,
    Until,
    VirtualClock,
)

BOTH = pytest.mark.parametrize("make_clock", [VirtualClock, RealClock])
MakeClock = Callable[[], Clock]
LONG_S = 60.0
"""For what comes at once on a computer with nothing else to do."""


def until_done(clock: Clock, *handles: Handle[Any]) -> Task[None]:
    """Wait without joining, so that the errors stay unseen."""
    deadline_s = clock.time_s() + LONG_S
    while not all(handle.is_done for handle in handles):
        assert clock.time_s() < deadline_s
        yield At(clock.time_s() + 0.001)


@BOTH
def test_at_wakes_at_its_time_and_returns_it(make_clock: MakeClock) -> None:
    clock = make_clock()

    def main() -> Task[float]:
        start = clock.time_s()
        woken = yield At(start + 0.02)
        assert woken >= start + 0.02
        back = yield At(start)  # a time that has passed is no wait
        assert back >= woken
        return woken - start

    late_s = clock.run(main()) - 0.02
    assert 0.0 <= late_s < (LONG_S if make_clock is RealClock else 1e-9)


@pytest.mark.timing
def test_a_real_wait_ends_within_10_ms_of_its_time() -> None:
    clock = RealClock()

    def main() -> Task[float]:
        due_s = clock.time_s() + 0.02
        return (yield At(due_s)) - due_s

    assert min(clock.run(main()) for _ in range(3)) < 0.01


@BOTH
def test_until_returns_the_item_or_none_at_the_deadline(make_clock: MakeClock) -> None:
    clock = make_clock()
    queue = clock.queue()

    def sender() -> Task[None]:
        yield At(clock.time_s() + 0.01)
        queue.put("edge")

    def main() -> Task[tuple[object, object, object]]:
        queue.put("first")
        first = yield Until(queue)
        clock.spawn(sender(), "sender")
        second = yield Until(queue, clock.time_s() + LONG_S)
        third = yield Until(queue, clock.time_s() + 0.01)
        return first, second, third

    assert clock.run(main()) == ("first", "edge", None)


@BOTH
def test_join_returns_the_result_and_raises_the_error(make_clock: MakeClock) -> None:
    clock = make_clock()

    def good() -> Task[int]:
        yield At(clock.time_s() + 0.005)
        return 7

    def bad() -> Task[int]:
        yield At(clock.time_s() + 0.005)
        raise ValueError("broken")

    go = clock.queue()

    def waits() -> Task[None]:
        yield Until(go)

    def main() -> Task[str]:
        assert (yield from clock.spawn(good(), "good").join()) == 7
        with pytest.raises(ValueError, match="broken"):
            yield from clock.spawn(bad(), "bad").join()
        slow = clock.spawn(waits(), "slow")
        with pytest.raises(TimeoutError, match="slow"):
            yield from slow.join(clock.time_s() + 0.0001)
        go.put("go")
        yield from slow.join()
        return "ok"

    assert clock.run(main()) == "ok"


@BOTH
def test_a_cancelled_task_cleans_up_and_joins_as_none(make_clock: MakeClock) -> None:
    clock = make_clock()
    cleaned: list[str] = []

    def waits_long(name: str, wait: Callable[[], At | Until]) -> Task[None]:
        try:
            yield wait()
        finally:
            cleaned.append(name)

    def main() -> Task[None]:
        never = clock.queue()
        tasks = [
            clock.spawn(waits_long("at", lambda: At(clock.time_s() + 10 * LONG_S)), "at"),
            clock.spawn(waits_long("until", lambda: Until(never)), "until"),
        ]
        yield At(clock.time_s() + 0.01)
        for task in tasks:
            task.cancel()
            assert (yield from task.join(clock.time_s() + LONG_S)) is None  # type: ignore[func-returns-value]

    clock.run(main())
    assert sorted(cleaned) == ["at", "until"]


@BOTH
def test_the_end_of_run_cancels_what_is_left_and_raises_unseen_errors(
    make_clock: MakeClock,
) -> None:
    clock = make_clock()
    ended: list[str] = []

    def background() -> Task[None]:
        try:
            while True:
                yield At(clock.time_s() + 0.001)
        except Cancelled:
            ended.append("background")
            raise

    def dies_unseen() -> Task[None]:
        yield At(clock.time_s())
        raise RuntimeError("nobody joined me")

    def main() -> Task[None]:
        clock.spawn(background(), "background")
        yield from until_done(clock, clock.spawn(dies_unseen(), "dies"))

    with pytest.raises(RuntimeError, match="nobody joined me"):
        clock.run(main())
    assert ended == ["background"]


@BOTH
def test_done_is_reported_to_a_queue_with_the_error(make_clock: MakeClock) -> None:
    clock = make_clock()

    def fails() -> Task[None]:
        yield At(clock.time_s())
        raise ValueError("step")

    def main() -> Task[Done]:
        events = clock.queue()
        clock.spawn(fails(), "fails", report_to=events)
        done = yield Until(events, clock.time_s() + LONG_S)
        assert isinstance(done, Done)
        return done

    assert str(clock.run(main()).error) == "step"


def test_an_error_in_the_main_task_still_ends_the_others() -> None:
    clock = RealClock()
    before = threading.active_count()

    def forever() -> Task[None]:
        yield Until(clock.queue())

    def main() -> Task[None]:
        clock.spawn(forever(), "forever")
        yield At(clock.time_s() + 0.01)
        raise KeyError("main")

    with pytest.raises(KeyError, match="main"):
        clock.run(main())
    assert threading.active_count() == before


def test_virtual_tasks_run_in_order_of_time() -> None:
    clock = VirtualClock()
    order: list[tuple[float, str]] = []

    def ticks(name: str, every_s: float, n: int) -> Task[None]:
        start = clock.time_s()
        for i in range(1, n + 1):
            yield At(start + i * every_s)
            order.append((clock.time_s(), name))

    def main() -> Task[None]:
        tasks = [clock.spawn(ticks("a", 0.003, 50), "a"), clock.spawn(ticks("b", 0.007, 20), "b")]
        for task in tasks:
            yield from task.join()

    clock.run(main())
    assert [t for t, _ in order] == sorted(t for t, _ in order)
    assert len(order) == 70


def test_a_pause_in_plain_code_lets_the_other_virtual_tasks_run() -> None:
    clock = VirtualClock()
    seen: list[float] = []

    def pulses() -> Task[None]:
        for i in range(10):
            yield At(i * 0.001)
            seen.append(clock.time_s())

    def main() -> Task[None]:
        task = clock.spawn(pulses(), "pulses")
        yield At(0.0)
        clock.pause_s(0.0055)  # as a bus transfer does
        assert seen == pytest.approx([0.0, 0.001, 0.002, 0.003, 0.004, 0.005])
        assert clock.time_s() == pytest.approx(0.0055)
        yield from task.join()

    clock.run(main())


def test_a_virtual_task_that_cancels_itself_ends_at_its_next_wait() -> None:
    clock = VirtualClock()

    def main() -> Task[bool]:
        def body() -> Task[None]:
            handle.cancel()
            yield At(clock.time_s() + 1.0)
            raise AssertionError("went on")

        handle = clock.spawn(body(), "self")
        yield from handle.join()
        return handle.is_done

    assert clock.run(main()) is True


def test_waiting_for_what_can_never_come_is_an_error_not_a_hang() -> None:
    clock = VirtualClock()

    def main() -> Task[None]:
        yield Until(clock.queue())

    with pytest.raises(RuntimeError, match="never come"):
        clock.run(main())


def test_virtual_time_is_repeatable() -> None:
    def story() -> list[tuple[str, float]]:
        clock, log, rng = VirtualClock(), [], random.Random(4)
        queue = clock.queue()

        def producer(name: str, waits: list[float]) -> Task[None]:
            for wait in waits:
                yield At(clock.time_s() + wait)
                queue.put((name, clock.time_s()))

        def main() -> Task[None]:
            for name in "abc":
                clock.spawn(producer(name, [rng.random() for _ in range(40)]), name)
            for _ in range(120):
                log.append((yield Until(queue)))

        clock.run(main())
        return log

    assert story() == story()


def test_stress_on_the_real_clock_no_item_is_lost_or_doubled() -> None:
    """Eight threads put items while consumers are cancelled and replaced all the time."""
    clock = RealClock()
    taken: list[int] = []
    n_producers, n_items = 8, 300

    def producer(queue: Queue, base: int) -> Task[None]:
        rng = random.Random(base)
        for i in range(n_items):
            queue.put(base + i)
            if rng.random() < 0.05:
                yield At(clock.time_s() + rng.random() * 0.002)

    def consumer(queue: Queue) -> Task[None]:
        while True:
            item = yield Until(queue, clock.time_s() + 0.001)
            if item is not None:
                taken.append(item)

    def main() -> Task[None]:
        queue = clock.queue()
        producers = [clock.spawn(producer(queue, k * n_items), f"p{k}") for k in range(n_producers)]
        deadline = clock.time_s() + LONG_S
        while len(taken) < n_producers * n_items:
            assert clock.time_s() < deadline, f"only {len(taken)} items arrived"
            worker = clock.spawn(consumer(queue), "consumer")
            yield At(clock.time_s() + 0.01)
            worker.cancel()
            yield from worker.join()
        for task in producers:
            yield from task.join()

    clock.run(main())
    assert sorted(taken) == list(range(n_producers * n_items))


def test_a_real_wait_is_broken_off_by_cancel() -> None:
    clock = RealClock()

    def sleeper() -> Task[None]:
        yield At(clock.time_s() + 10 * LONG_S)

    def main() -> Task[None]:
        task = clock.spawn(sleeper(), "sleeper")
        yield At(clock.time_s() + 0.02)
        task.cancel()
        yield from task.join(clock.time_s() + LONG_S)

    clock.run(main())
