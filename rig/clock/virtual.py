"""A clock that jumps: all tasks in one thread, in order of time."""

import heapq
from collections import deque
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from itertools import count
from typing import Any

from rig.clock.tasks import At, Cancelled, Handle, Queue, T, Task, Until, first_unseen


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
        self._sequence = count()  # whole under signals, whose handler may put something
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
        error = first_unseen([job.handle for job in jobs])
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
        heapq.heappush(self._heap, (time_s, next(self._sequence), job.ticket, job))

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
