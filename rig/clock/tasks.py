"""Tasks: their waits and their ends, and the interface of a clock."""

from collections.abc import Callable, Generator
from datetime import datetime
from typing import Any, Generic, NamedTuple, Protocol, TypeVar

T = TypeVar("T")


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
        """Error of a failed task that was never joined."""
        failed = self.error is not None and not isinstance(self.error, Cancelled)
        return self.error if failed and not self._retrieved else None


class Clock(Protocol):
    """Time, waiting and tasks for all code above."""

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


def first_unseen(handles: list[Handle[Any]]) -> BaseException | None:
    """The first error of a task that was never joined."""
    return next((h.unseen_error for h in handles if h.unseen_error is not None), None)
