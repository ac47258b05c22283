"""One run of a board that a person raises: place, rest, raise by hand through the slide, lower.

The states are those of the motor's cycle without `homing`; nothing here moves anything. The home
reading is taken while the bag rests on the flat board.
"""

from rig.clock import Task
from rig.control.cycle import HOME_CAPTURE_S, HOME_SETTLE_S, Cycle
from rig.control.mover import POLL_S, StoppedError
from rig.control.pace import PaceKeeper
from rig.control.passage import Passage
from rig.control.placing import is_beam_broken
from rig.devices.imu import Counts
from rig.devices.inputs import Edge
from rig.errors import MachineFaultError

FLAT_DEG = 1.0
"""The board counts as down within this of where it rests."""
STILL_DEG = 0.15
"""The raise begins when the board last was this near to its rest."""
STARTED_DEG = 0.6
"""Above this the board is being raised."""
SUNK_DEG = 2.0
"""So far down again, and the raise is over."""
PACE_WORDS = {"slower": "Slower.", "steady": "Steady: go on like that.", "faster": "Faster."}
"""Without figures, since a screen reader says each change; the needle has them."""


class HandCycle(Cycle):
    """Makes one run; see `Cycle`."""

    _flat_deg = 0.0
    _placed_s = 0.0

    def _home(self) -> Task[None]:
        """Nothing to home."""
        yield from ()

    def _place(self) -> Task[None]:
        self._machine.enter("placing")
        yield from self._until_flat("Lower the board onto its rest.")
        placed = yield from self._placing.place(self, self._request)
        self._placed_s = self._clock.time_s()
        self._recorder.event("placed", self._placed_s, **placed._asdict())

    def _dwell(self) -> Task[None]:
        """Rest for the stated time, and read the angle of the flat board meanwhile."""
        machine = self._machine
        machine.enter("dwelling")
        edges: list[Edge] = yield from self.wait_s(HOME_SETTLE_S)
        counts: list[Counts] = []
        with machine.listening_to_counts(counts):
            edges += yield from self.wait_s(HOME_CAPTURE_S)
        angle_deg, cross_deg = machine.angles_deg(counts)
        self._recorder.event(
            "home_reading", self._clock.time_s(), angle_deg=angle_deg, cross_deg=cross_deg
        )
        self._flat_deg = angle_deg
        self._check_home(angle_deg, cross_deg)
        left_s = self._placed_s + self._request.dwell_s - self._clock.time_s()
        edges += yield from self.wait_s(max(left_s, 0.0))
        if any(edge.name.startswith("beam_") for edge in edges):
            self._recorder.flag("moved_before_raise")
        if is_beam_broken(machine.inputs):
            raise MachineFaultError(
                "beam_broken_before_raise", "The beam is broken at the end of the dwell."
            )

    def _raise(self) -> Task[bool]:
        """Follow the raise until the bag has cleared the last beam; True if it has."""
        machine, recorder = self._machine, self._recorder
        machine.enter("raising")
        passage = Passage(machine, recorder, self._request)
        yield from self._until_started(passage)
        keeper, top_deg = PaceKeeper(self._request.rate_deg_s), self._flat_deg
        soft_limit_deg = machine.settings.linkage.soft_limit_deg
        live = machine.live
        while True:
            now_s, angle_deg = self._clock.time_s(), live.angle_deg or 0.0
            if live.angle_seen_s is not None:
                live.pace = keeper.see(live.angle_seen_s, angle_deg)
                self.ask(self._pace_words())
            top_deg = max(top_deg, angle_deg)
            if passage.is_over(now_s):
                break
            if angle_deg >= soft_limit_deg or angle_deg < top_deg - SUNK_DEG:
                break
            passage.look((yield from self.next_event(now_s + POLL_S)))
        live.pace = None
        recorder.event("raise_ended", self._clock.time_s())
        if passage.cleared_s is None:
            recorder.flag("stalled_in_slide" if passage.broken_s is not None else "no_slide")
        return passage.cleared_s is not None

    def _until_started(self, passage: Passage) -> Task[None]:
        """Wait until the board is raised; the raise began when it last lay still."""
        rate, allowed_s = self._request.rate_deg_s, self._cycle.placing_timeout_s
        self._machine.live.target_deg_s = rate
        self.ask(f"Raise the board now, evenly, at {rate:g} °/s.")
        still_s = self._clock.time_s()
        deadline_s = still_s + allowed_s
        while True:
            now_s = self._clock.time_s()
            risen_deg = (self._machine.live.angle_deg or 0.0) - self._flat_deg
            if risen_deg < STILL_DEG:
                still_s = now_s
            if risen_deg > STARTED_DEG or passage.cleared_s is not None:
                break
            if now_s > deadline_s:
                raise StoppedError(f"Nobody raised the board within {allowed_s:g} s.")
            passage.look((yield from self.next_event(now_s + POLL_S)))
        self._recorder.event("raise_started", still_s, dwell_s=still_s - self._placed_s)

    def _pace_words(self) -> str:
        pace = self._machine.live.pace
        if self._recorder.state == "sliding":
            return "The bag slides: go on evenly."
        return "" if pace is None else PACE_WORDS[pace.word]

    def _lower(self) -> Task[None]:
        self._machine.enter("lowering")
        yield from self._until_flat("Enough. Lower the board onto its rest, with no hand under it.")
        self._machine.enter("parked")

    def _until_flat(self, wish: str) -> Task[None]:
        """Wait until the board lies on its rest; ask for it where it does not."""
        live, settings = self._machine.live, self._machine.settings
        assert self._machine.calibration is not None  # noqa: S101 - a run is refused without one
        rest_deg = self._machine.calibration.home_angle_deg
        deadline_s = self._clock.time_s() + settings.cycle.placing_timeout_s
        while live.angle_deg is None or live.angle_deg > rest_deg + FLAT_DEG:
            self.ask(wish)
            now_s = self._clock.time_s()
            if now_s > deadline_s:
                raise StoppedError("Nobody lowered the board.")
            yield from self.next_event(now_s + POLL_S)
        self.ask("")
