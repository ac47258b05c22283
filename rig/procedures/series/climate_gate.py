"""Hold a run until the air is within its target band and steady."""

from collections import deque
from collections.abc import Callable

from msgspec import Struct

from rig.clock import At, Task
from rig.control.machine import Machine
from rig.control.mover import Mover, StoppedError
from rig.quantities.typed import Typed, with_tolerance

LOOK_S = 2.0
SHOW_EVERY_S = 30.0


class ClimateBand(Struct, frozen=True, kw_only=True):
    """Target band of the air; None: not limited."""

    temperature_c: float | None = None
    temperature_tolerance_k: float = 2.0
    relative_humidity_pct: float | None = None
    humidity_tolerance_pct: float = 4.0
    steady_s: float = 300.0
    """Time for which it must have been inside the band and within the tolerance of its present
    value."""
    timeout_s: float = 7200.0


def parse_band(
    temperature: str | None,
    humidity: str | None,
    timeout_s: float,
    steady_s: float,
    told: Callable[[str, Typed], object] = lambda name, value: None,
) -> ClimateBand | None:
    """The band that `--temperature 23:2 --humidity 50:4` mean; None when neither is given.

    Args:
        temperature: as typed, such as `23:2` or `73F:4F`.
        humidity: as typed, such as `50:4`.
        timeout_s: of the band.
        steady_s: of the band.
        told: gets each typed value, and the name of its option.

    Raises:
        BadInputError: not two numbers with a colon between, or out of range.
    """
    if temperature is None and humidity is None:
        return None

    def pair(
        name: str, text: str | None, unit: str, low: float, high: float, least: float, usual: float
    ) -> tuple[float | None, float]:
        if text is None:
            return None, usual
        wanted, width = with_tolerance(name, text, unit, low, high, usual, least)
        told(name, wanted)
        told(f"{name} ±", width)
        return wanted.value, width.value

    t, t_tol = pair("--temperature", temperature, "°C", -20.0, 60.0, 0.5, 2.0)
    h, h_tol = pair("--humidity", humidity, "%", 0.0, 100.0, 1.0, 4.0)
    return ClimateBand(
        temperature_c=t,
        temperature_tolerance_k=t_tol,
        relative_humidity_pct=h,
        humidity_tolerance_pct=h_tol,
        steady_s=steady_s,
        timeout_s=timeout_s,
    )


class ClimateGate:
    """Tracks the air, also during runs, and holds a run until it is in the band.

    Args:
        machine: opened; its watching tasks must be running.
        band: target band of the air.
    """

    def __init__(self, machine: Machine, band: ClimateBand) -> None:
        self._machine = machine
        self._band = band
        self._seen: deque[tuple[float, float, float]] = deque()
        self._why = "no reading yet"

    def watch(self) -> Task[None]:
        """Endless task: take the climate sensor's readings."""
        while True:
            self._look()
            yield At(self._machine.clock.time_s() + LOOK_S)

    def wait(self, mover: Mover) -> Task[None]:
        """Wait until the air has been inside the band, and steady, for long enough.

        Raises:
            StoppedError: it took too long, or a stop was requested.
            MachineFaultError: an interlock was met.
        """
        band, clock = self._band, self._machine.clock
        began_s = clock.time_s()
        shown_s = float("-inf")
        while self._why or self._good_s < band.steady_s:
            now_s = clock.time_s()
            state = self._why or f"right for {self._good_s:.0f} of {band.steady_s:.0f} s"
            if now_s - began_s > band.timeout_s:
                raise StoppedError(
                    f"The air did not come to where it should be within {band.timeout_s / 60:.0f}"
                    f" min ({state}). Condition the room, or widen the band, and resume with"
                    " `rig run --resume`."
                )
            if now_s - shown_s >= SHOW_EVERY_S:
                shown_s = now_s
                left = (band.timeout_s - (now_s - began_s)) / 60
                mover.ask(f"Waiting for the air: {state}; gives up in {left:.0f} min.")
            yield from mover.next_event(now_s + LOOK_S)
        mover.ask("")

    @property
    def _good_s(self) -> float:
        return self._seen[-1][0] - self._seen[0][0] if self._seen else 0.0

    def _look(self) -> None:
        live, seen = self._machine.live, self._seen
        temperature_c, humidity_pct = live.temperature_c, live.relative_humidity_pct
        if temperature_c is None or humidity_pct is None:
            seen.clear()
            self._why = "the climate sensor gives no value"
            return
        band = self._band
        wanted = (
            ("°C", temperature_c, band.temperature_c, band.temperature_tolerance_k),
            ("%RH", humidity_pct, band.relative_humidity_pct, band.humidity_tolerance_pct),
        )
        self._why = ", ".join(
            f"{value:.1f} {unit} (wanted {target:.3g} ± {tolerance:.3g})"
            for unit, value, target, tolerance in wanted
            if target is not None and abs(value - target) > tolerance
        )
        if self._why:
            seen.clear()
            return
        now_s = self._machine.clock.time_s()
        seen.append((now_s, temperature_c, humidity_pct))
        while len(seen) > 1 and now_s - seen[1][0] >= band.steady_s:
            seen.popleft()
        self._drop_unsteady()

    def _drop_unsteady(self) -> None:
        """Discard readings from before the air was steady."""
        band, seen = self._band, self._seen
        _, temperature_c, humidity_pct = seen[-1]
        for index in range(len(seen) - 2, -1, -1):
            _, t, h = seen[index]
            is_far = (
                band.temperature_c is not None
                and abs(t - temperature_c) > band.temperature_tolerance_k
            ) or (
                band.relative_humidity_pct is not None
                and abs(h - humidity_pct) > band.humidity_tolerance_pct
            )
            if is_far:
                for _ in range(index + 1):
                    seen.popleft()
                return
