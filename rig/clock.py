"""Time and tasks: one kind of concurrency, the same on a real and on a virtual clock.

A *task* is a generator that yields `At(t)` (go on at this time) or `Until(queue, deadline)` (go on
at the first item or at the deadline). `RealClock` runs each task in a thread; `VirtualClock` runs
all of them in one thread from a heap and jumps from one wake-up to the next, so a simulated night
takes minutes and is repeatable. Times are seconds of the monotonic clock; wall time is a stamp.
"""

import gc
import heapq
import threading
import time
from collections import deque
from collections.abc import Callable, Generator
from datetime import UTC, datetime, timedelta
from queue import Empty, SimpleQueue
from typing import Any, Generic, NamedTuple, Protocol, TypeVar

T = TypeVar("T")

SPIN_S = 300e-6
"""The last part of a wait is spun, because the kernel wakes a thread tens of microseconds late."""

CANCEL_POLL_S = 0.02
"""A wait longer than this can be broken off; a shorter one ends by itself soon enough."""


class Cancelled(BaseException):
    """Thrown into a task that was cancelled, at its next wait; clean up and let it pass."""


class At(NamedTuple):
    """Wait until `time_s` on the monotonic clock; the yield returns the time it is then."""

    time_s: float


class Until(NamedTuple):
    """Wait for an item of `queue`; the yield returns it, or None at `deadline_s`."""

    queue: "Queue"
    deadline_s: float | None = None


Task = Generator[At | Until, Any, T]


class Queue(Protocol):
    """Hands items to the one task that waits on it; `put` is safe from callbacks and signals."""

    def put(self, item: Any) -> None:
        """Add an item, which must not be None."""

    def get_nowait(self) -> Any:
        """Take the oldest item, or None when there is none."""


class Done(NamedTuple):
    """Put into the `report_to` queue of a task that ended; `error` is None when it ended well."""

    handle: "Handle[Any]"
    error: BaseException | None


class Handle(Generic[T]):
    """A task that was started: cancel it, ask whether it is done, join it for its result."""

    def __init__(self, name: str, done: Queue, cancel: Callable[[], None]) -> None:
        self.name = name
        self.is_done = False
        self.error: BaseException | None = None
        self._result: T | None = None
        self._done = done
        self._cancel = cancel
        self._report_to: Queue | None = None
        self._retrieved = False

    def cancel(self) -> None:
        """Throw `Cancelled` into the task at its wait; returns at once, so join it afterwards."""
        self._cancel()

    def join(self, deadline_s: float | None = None) -> Task[T | None]:
        """Wait for the end, from within a task: `result = yield from handle.join()`.

        Raises whatever the task raised (not `Cancelled`: a cancelled task returns None), and
        TimeoutError at the deadline.
        """
        if not self.is_done:
            yield Until(self._done, deadline_s)
        if not self.is_done:
            raise TimeoutError(f"task {self.name!r} did not end in time")
        return self.result()

    def result(self) -> T | None:
        """The task's result once it is done; raises what the task raised."""
        self._retrieved = True
        if self.error is not None and not isinstance(self.error, Cancelled):
            raise self.error
        return self._result

    def finish(self, result: T | None, error: BaseException | None) -> None:
        """Record how the task ended and tell whoever waits (called by the clock)."""
        self._result, self.error, self.is_done = result, error, True
        self._done.put(self)
        if self._report_to is not None:
            self._retrieved = True
            self._report_to.put(Done(self, error))

    def report_to(self, queue: Queue | None) -> None:
        """Put `Done` into this queue at the end (called by the clock before the start)."""
        self._report_to = queue

    @property
    def unseen_error(self) -> BaseException | None:
        """The error of a task that failed and that nobody has asked about."""
        failed = self.error is not None and not isinstance(self.error, Cancelled)
        return self.error if failed and not self._retrieved else None


class Clock(Protocol):
    """What all code above uses to tell the time, to wait, and to run tasks."""

    def time_s(self) -> float:
        """Now, in seconds of the monotonic clock."""

    def utc_now(self) -> datetime:
        """Wall time, a stamp for people."""

    def pause_s(self, seconds: float) -> None:
        """Wait briefly in plain code, as between two tries of a bus transfer."""

    def queue(self) -> Queue:
        """A new queue that tasks of this clock can wait on."""

    def spawn(self, task: Task[T], name: str, report_to: Queue | None = None) -> Handle[T]:
        """Start a task beside the running one; `report_to` gets a `Done` when it ends."""

    def run(self, task: Task[T], name: str = "main") -> T:
        """Run a task to its end, then cancel and join all others; raises the first error."""


def _first_unseen(handles: list[Handle[Any]]) -> BaseException | None:
    return next((h.unseen_error for h in handles if h.unseen_error is not None), None)


class _RealQueue:
    def __init__(self) -> None:
        self._items: SimpleQueue[Any] = SimpleQueue()

    def put(self, item: Any) -> None:
        self._items.put(item)

    def get_nowait(self) -> Any:
        try:
            item = self._items.get_nowait()
        except Empty:
            return None
        return self.get_nowait() if item is _WAKE else item

    def wait(self, timeout_s: float | None) -> Any:
        try:
            return self._items.get(timeout=timeout_s)
        except Empty:
            return None


_WAKE = object()


class _Thread:
    """Runs one task in the thread that calls `work`."""

    def __init__(self, task: Task[Any]) -> None:
        self.task = task
        self.cancelled = threading.Event()
        self._queue: _RealQueue | None = None

    def cancel(self) -> None:
        self.cancelled.set()
        queue = self._queue
        if queue is not None:
            queue.put(_WAKE)

    def work(self) -> Any:
        """Drive the generator; an exception in a wait is thrown into it, so its finally runs."""
        step: Callable[[], At | Until] = lambda: next(self.task)  # noqa: E731
        while True:
            try:
                request = step()
            except StopIteration as stop:
                return stop.value
            try:
                value = self._wait(request)
                step = lambda value=value: self.task.send(value)  # type: ignore[misc]  # noqa: E731
            except BaseException as error:
                step = lambda error=error: self.task.throw(error)  # type: ignore[misc]  # noqa: E731

    def _wait(self, request: At | Until) -> Any:
        if isinstance(request, At):
            return self._wait_at(request.time_s)
        queue = request.queue
        assert isinstance(queue, _RealQueue)  # noqa: S101 - a queue of another clock never wakes
        self._queue = queue
        try:
            while True:
                if self.cancelled.is_set():
                    raise Cancelled
                left = None
                if request.deadline_s is not None:
                    left = max(0.0, request.deadline_s - time.monotonic())
                item = queue.wait(left)
                if item is not _WAKE:
                    return item
        finally:
            self._queue = None

    def _wait_at(self, time_s: float) -> float:
        while (left := time_s - time.monotonic()) > CANCEL_POLL_S:
            if self.cancelled.wait(left - CANCEL_POLL_S):
                break
        if self.cancelled.is_set():
            raise Cancelled
        if left > SPIN_S:
            time.sleep(left - SPIN_S)  # noqa: TID251 - the one place that may wait
        while (now := time.monotonic()) < time_s:
            pass
        return now


class RealClock:
    """The machine's clock; each task is a thread."""

    def __init__(self) -> None:
        self._running: list[tuple[Handle[Any], _Thread, threading.Thread]] = []
        self._lock = threading.Lock()

    def time_s(self) -> float:
        """Now, in seconds of CLOCK_MONOTONIC, the clock that also stamps pin edges."""
        return time.monotonic()

    def utc_now(self) -> datetime:
        """Wall time."""
        return datetime.now(UTC)

    def pause_s(self, seconds: float) -> None:
        """Sleep."""
        time.sleep(seconds)  # noqa: TID251 - the one place that may wait

    def queue(self) -> Queue:
        """A new queue."""
        return _RealQueue()

    def spawn(self, task: Task[T], name: str, report_to: Queue | None = None) -> Handle[T]:
        """Start the task in a thread of its own."""
        runner = _Thread(task)
        handle: Handle[T] = Handle(name, _RealQueue(), runner.cancel)
        handle.report_to(report_to)

        def body() -> None:
            try:
                handle.finish(runner.work(), None)
            except BaseException as error:
                handle.finish(None, error)

        thread = threading.Thread(target=body, name=name, daemon=True)
        with self._lock:
            self._running = [entry for entry in self._running if not self._is_over(entry)]
            self._running.append((handle, runner, thread))
        thread.start()
        return handle

    @staticmethod
    def _is_over(entry: tuple[Handle[Any], _Thread, threading.Thread]) -> bool:
        return entry[0].is_done and entry[0].unseen_error is None and not entry[2].is_alive()

    def run(self, task: Task[T], name: str = "main") -> T:
        """Run the task in this thread, so that it meets the signals; then end all others."""
        try:
            result: T = _Thread(task).work()
        finally:
            with self._lock:
                others, self._running = self._running, []
            for _, runner, _ in others:
                runner.cancel()
            for _, _, thread in others:
                thread.join()
        error = _first_unseen([handle for handle, _, _ in others])
        if error is not None:
            raise error
        return result


class _VirtualQueue:
    def __init__(self, clock: "VirtualClock") -> None:
        self._clock = clock
        self.items: deque[Any] = deque()
        self.waiter: _Job | None = None

    def put(self, item: Any) -> None:
        self.items.append(item)
        job = self.waiter
        if job is not None:
            self._clock.wake(job)

    def get_nowait(self) -> Any:
        return self.items.popleft() if self.items else None


class _Job:
    __slots__ = ("cancelled", "handle", "queue", "running", "started", "task", "ticket")

    def __init__(self, task: Task[Any]) -> None:
        self.task = task
        self.handle: Handle[Any]
        self.ticket = 0
        self.queue: _VirtualQueue | None = None
        self.cancelled = False
        self.running = False
        self.started = False


class VirtualClock:
    """A clock that jumps; all tasks run in the calling thread, in order of time.

    Args:
        start_s: monotonic time at the start.
        utc: wall time at the start; now, if not given.
    """

    def __init__(self, start_s: float = 0.0, utc: datetime | None = None) -> None:
        self._now = start_s
        self._utc = (utc or datetime.now(UTC)) - timedelta(seconds=start_s)
        self._heap: list[tuple[float, int, int, _Job]] = []
        self._sequence = 0
        self._horizon = float("inf")
        self._jobs: list[_Job] = []

    def time_s(self) -> float:
        """Now, in virtual seconds."""
        return self._now

    def utc_now(self) -> datetime:
        """Wall time: that of the start plus the virtual time since."""
        return self._utc + timedelta(seconds=self._now)

    def pause_s(self, seconds: float) -> None:
        """Let virtual time pass; other tasks run meanwhile, as they would beside a sleep."""
        self.advance_to(self._now + seconds)

    def queue(self) -> Queue:
        """A new queue."""
        return _VirtualQueue(self)

    def spawn(self, task: Task[T], name: str, report_to: Queue | None = None) -> Handle[T]:
        """Start the task at the present time, after what is already due."""
        job = _Job(task)

        def cancel() -> None:
            job.cancelled = True
            if not job.handle.is_done:
                self.wake(job)

        job.handle = Handle(name, _VirtualQueue(self), cancel)
        job.handle.report_to(report_to)
        self._jobs = [j for j in self._jobs if not j.handle.is_done or j.handle.unseen_error]
        self._jobs.append(job)
        self._push(self._now, job)
        return job.handle

    def run(self, task: Task[T], name: str = "main") -> T:
        """Run all tasks in order of time until this one ends; then cancel and end the others."""
        handle = self.spawn(task, name)
        try:
            self._loop(float("inf"), lambda: handle.is_done)
        finally:
            is_stuck = not handle.is_done
            for job in self._jobs:
                job.handle.cancel()
            self._loop(float("inf"), lambda: all(j.handle.is_done for j in self._jobs))
            jobs, self._jobs, self._heap = self._jobs, [], []
        if is_stuck:
            raise RuntimeError(f"task {name!r} waits for something that can never come")
        result = handle.result()
        error = _first_unseen([job.handle for job in jobs])
        if error is not None:
            raise error
        return result  # type: ignore[return-value] # a task that was not cancelled has a result

    def advance_to(self, time_s: float) -> None:
        """From within a running task: let time pass, running the other tasks that are due."""
        self._loop(time_s, None)
        self._now = max(self._now, time_s)

    def wake(self, job: _Job) -> None:
        """Let a waiting task go on at the present time; one that is running needs no waking."""
        if not job.running:
            self._push(self._now, job)

    def _push(self, time_s: float, job: _Job) -> None:
        job.ticket += 1
        self._sequence += 1
        heapq.heappush(self._heap, (time_s, self._sequence, job.ticket, job))

    def _loop(self, horizon: float, is_over: Callable[[], bool] | None) -> None:
        outer, self._horizon = self._horizon, min(horizon, self._horizon)
        try:
            heap = self._heap
            while heap and heap[0][0] <= horizon and not (is_over and is_over()):
                time_s, _, ticket, job = heapq.heappop(heap)
                if ticket == job.ticket and not job.handle.is_done:
                    self._now = max(self._now, time_s)
                    self._resume(job)
        finally:
            self._horizon = outer

    def _resume(self, job: _Job) -> None:
        """Run one task up to its next wait that lies beyond the next wake-up of another."""
        job.ticket += 1
        queue, job.queue = job.queue, None
        value: Any = self._now if queue is None else queue.get_nowait()
        if queue is not None:
            queue.waiter = None
        if not job.started:
            job.started, value = True, None
        job.running = True
        try:
            while True:
                if job.cancelled:
                    job.cancelled = False
                    request = job.task.throw(Cancelled())
                else:
                    request = job.task.send(value)
                if job.cancelled:
                    continue
                if isinstance(request, At):
                    due = max(request.time_s, self._now)
                    if due > self._horizon or (self._heap and self._heap[0][0] <= due):
                        self._push(due, job)
                        return
                    value = self._now = due
                else:
                    if not self._park(job, request):
                        return
                    value = request.queue.get_nowait()
        except StopIteration as stop:
            job.handle.finish(stop.value, None)
        except BaseException as error:
            job.handle.finish(None, error)
        finally:
            job.running = False

    def _park(self, job: _Job, request: Until) -> bool:
        """Make the task wait on a queue; True when an item is there already."""
        queue = request.queue
        assert isinstance(queue, _VirtualQueue)  # noqa: S101 - a queue of another clock never wakes
        queue.waiter, job.queue = job, queue
        if queue.items:
            queue.waiter, job.queue = None, None
            return True
        if request.deadline_s is not None:
            self._push(max(request.deadline_s, self._now), job)
        return False


class QuietCollector:
    """Garbage collection off while pulses are made: a collection can take milliseconds."""

    def __enter__(self) -> None:
        self._was_on = gc.isenabled()
        gc.disable()

    def __exit__(self, *_: object) -> None:
        if self._was_on:
            gc.enable()
