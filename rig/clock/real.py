"""The machine's own clock: a thread for each task."""

import gc
import threading
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from queue import Empty, SimpleQueue
from typing import Any

from rig.clock.tasks import At, Cancelled, Handle, Queue, T, Task, Until, first_unseen

SPIN_S = 300e-6
"""The last part of a wait is spun, because the kernel wakes a thread tens of microseconds late."""

CANCEL_POLL_S = 0.02
"""Shortest wait that can be interrupted; a shorter one ends soon enough by itself."""


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
        """Drive the generator; an exception in a wait is thrown into it for its clean-up."""
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
    """The machine's clock; each task is a thread.

    Args:
        utc: wall time at the start; the computer's, if not given.
    """

    def __init__(self, utc: datetime | None = None) -> None:
        self._ahead = timedelta(0) if utc is None else utc - datetime.now(UTC)
        self._running: list[tuple[Handle[Any], _Thread, threading.Thread]] = []
        self._lock = threading.Lock()

    def time_s(self) -> float:
        """Now, in seconds of CLOCK_MONOTONIC, the clock that also stamps pin edges."""
        return time.monotonic()

    def utc_now(self) -> datetime:
        """Wall time."""
        return datetime.now(UTC) + self._ahead

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
        error = first_unseen([handle for handle, _, _ in others])
        if error is not None:
            raise error
        return result


class QuietCollector:
    """Garbage collection off while pulses are made: a collection can take milliseconds."""

    def __enter__(self) -> None:
        self._was_on = gc.isenabled()
        gc.disable()

    def __exit__(self, *_: object) -> None:
        if self._was_on:
            gc.enable()
