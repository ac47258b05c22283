"""Recording of a run as lines of its file; safe to call from every task."""

import threading
from collections import deque
from collections.abc import Sequence
from typing import Any, Literal, NamedTuple, Protocol

from msgspec import UNSET

from rig.control.states import ALLOWED, BY_HAND, check_transition
from rig.devices.climate import ClimateReading
from rig.runfile.model import Climate, Event, Flag, Line, Outcome, Samples, State, Steps
from rig.sliding import BEFORE_SLIDE_S

MAX_SAMPLES_PER_LINE = 52
IDLE_LINE_S = 2.0
HELD_S = BEFORE_SLIDE_S + 4.0
"""In a raise by hand all samples of this time before the slide are kept: what the analysis uses,
and some more for a better one."""


class _Batch(NamedTuple):
    """Samples as the sensor gave them; `t_s` since the start of the file."""

    t_s: float
    dt_s: float
    counts: list[tuple[int, int, int]]
    gyro_counts: Sequence[tuple[int, int, int]]


class LineWriter(Protocol):
    """The part of the run-file writer used here."""

    def write(self, line: Line) -> None:
        """Append one line."""

    def end(self, outcome: Outcome, flags: list[Flag], samples_lost: int, bus_retries: int) -> None:
        """Append the last line and close the file."""

    def close(self) -> None:
        """Close the file without a last line."""


class Recorder:
    """Recorder of one run: state, flags and lines.

    A hand that raises the board slowly takes minutes, and nobody knows beforehand when the bag will
    slide. So samples of such a raise are held back for `HELD_S`. As soon as a beam breaks or the
    raise ends, all held samples are written; older ones are thinned.

    Args:
        writer: the open run file.
        start_s: monotonic time of `t_s` = 0.
        idle_rate_hz: samples kept per second outside the raise; in it all are kept.
        by_hand: a person raises the board, so nothing homes, and early samples are thinned.
    """

    def __init__(
        self, writer: LineWriter, start_s: float, idle_rate_hz: float, *, by_hand: bool = False
    ) -> None:
        self.flags: list[Flag] = []
        self.state: State = "parked"
        self._by_hand = by_hand
        self._allowed = BY_HAND if by_hand else ALLOWED
        self._writer = writer
        self._start_s = start_s
        self._idle_gap_s = 1.0 / idle_rate_hz
        self._next_idle_s = 0.0
        self._lock = threading.RLock()
        self._is_open = True
        self._t_s = 0.0
        self._dt_s = 1.0
        self._counts: list[tuple[int, int, int]] = []
        self._gyro_counts: list[tuple[int, int, int]] = []
        self._imu_temperature_c: float | None = None
        self._held: deque[_Batch] = deque()

    def _since_start(self, t_s: float) -> float:
        return round(t_s - self._start_s, 6)

    def _write(self, line: Line) -> None:
        """Write a line; after a failure, reported once, the file takes no more lines."""
        if self._is_open:
            try:
                self._writer.write(line)
            except BaseException:
                self._is_open = False
                self._writer.close()
                raise

    def event(self, name: str, at_s: float, **detail: Any) -> None:
        """Write an event that happened at the monotonic time `at_s`."""
        with self._lock:
            self._write(Event(t_s=self._since_start(at_s), event=name, detail=detail))

    def enter(self, state: State, at_s: float) -> None:
        """Enter another state; only the transitions of `rig.control.states` are possible."""
        with self._lock:
            check_transition(self.state, state, self._allowed)
            self._release()
            self._flush_samples()
            self.state = state
            self.event("state", at_s, state=state)

    def flag(self, flag: Flag) -> None:
        """Keep a flag for the end line; repeated flags change nothing."""
        with self._lock:
            if flag not in self.flags:
                self.flags.append(flag)

    def samples(
        self,
        t_s: float,
        dt_s: float,
        counts: list[tuple[int, int, int]],
        imu_temperature_c: float | None,
        gyro_counts: Sequence[tuple[int, int, int]] = (),
    ) -> None:
        """Take a batch of raw counts: all of them in the raise, a few a second otherwise."""
        with self._lock:
            self._imu_temperature_c = imu_temperature_c
            batch = _Batch(t_s - self._start_s, dt_s, counts, gyro_counts)
            if self.state == "raising" and self._by_hand:
                self._held.append(batch)
                while self._held[0].t_s < batch.t_s - HELD_S:
                    self._thin(self._held.popleft())
            elif self.state in ("raising", "sliding"):
                self._keep(*batch)
            else:
                self._thin(batch)

    def _thin(self, batch: _Batch) -> None:
        """Keep a few samples a second."""
        for i, sample in enumerate(batch.counts):
            at = batch.t_s + i * batch.dt_s
            if at >= self._next_idle_s:
                self._next_idle_s = max(self._next_idle_s + self._idle_gap_s, at)
                self._keep(at, self._idle_gap_s, [sample], batch.gyro_counts[i : i + 1])

    def _release(self) -> None:
        """Keep all samples that are held."""
        if self._held:
            self._flush_samples()
        while self._held:
            self._keep(*self._held.popleft())

    def _keep(
        self,
        t_s: float,
        dt_s: float,
        counts: list[tuple[int, int, int]],
        gyro_counts: Sequence[tuple[int, int, int]],
    ) -> None:
        """Join gapless samples to one line; times within a line are right to dt_s / 2."""
        if self._counts:
            expected = self._t_s + len(self._counts) * self._dt_s
            is_full = len(self._counts) >= MAX_SAMPLES_PER_LINE
            is_old = len(self._counts) * self._dt_s >= IDLE_LINE_S
            if is_full or is_old or abs(t_s - expected) > 0.25 * self._dt_s:
                self._flush_samples()
        if not self._counts:
            self._t_s, self._dt_s = t_s, dt_s
        self._counts.extend(counts)
        self._gyro_counts.extend(gyro_counts)

    def _flush_samples(self) -> None:
        if self._counts:
            self._write(
                Samples(
                    t_s=round(self._t_s, 6),
                    dt_s=round(self._dt_s, 9),
                    counts=self._counts,
                    gyro_counts=self._gyro_counts or UNSET,
                    imu_temperature_c=self._imu_temperature_c,
                )
            )
            self._counts, self._gyro_counts = [], []

    def climate(
        self,
        at_s: float,
        reading: ClimateReading,
        board_temperature_c: float | None,
        board_temperature_source: Literal["surface", "imu"] | None,
    ) -> None:
        """Write a climate reading taken at the monotonic time `at_s`."""
        with self._lock:
            self._write(
                Climate(
                    t_s=self._since_start(at_s),
                    temperature_c=reading.temperature_c,
                    relative_humidity_pct=reading.relative_humidity_pct,
                    pressure_hpa=reading.pressure_hpa,
                    board_temperature_c=board_temperature_c,
                    board_temperature_source=board_temperature_source,
                )
            )

    def steps(self, at_s: float, count: int, jitter_us: float) -> None:
        """Write the step count at one time."""
        with self._lock:
            self._write(Steps(t_s=self._since_start(at_s), count=count, jitter_us=jitter_us))

    def end(self, outcome: Outcome, samples_lost: int, bus_retries: int) -> None:
        """Close the file with its outcome; later lines are not kept."""
        with self._lock:
            if self._is_open:
                self._release()
                self._flush_samples()
                self._is_open = False
                self._writer.end(outcome, self.flags, samples_lost, bus_retries)
