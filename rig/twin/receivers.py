"""What the light receivers say: the bag, a warped board and the sun together."""

from rig.twin.scenario import BeamTruth
from rig.twin.streams import stream

SUN_FROM_DEG = 8.0
FLICKERS = 6
ALWAYS_DEG = 90.0


class Receivers:
    """Output of each receiver from what stands in its beam and from the cradle's angle.

    Warp and sun depend on the cradle's angle only, so that they come at the same angles in every
    run of a placing however fast it is.

    Args:
        beam: the truth of the beams.
        n_beams: 1 or 2.
        seed: of the placing's rig.
        number: of the placing.
    """

    def __init__(self, beam: BeamTruth, n_beams: int, seed: int, number: int) -> None:
        self._bag = dict.fromkeys(range(1, n_beams + 1), False)
        self._output = dict(self._bag)
        self._blocked: list[tuple[int, float, float]] = []
        self._blind: tuple[float, float] | None = None
        if beam.warp_break_deg is not None:
            self._blocked.append((1, beam.warp_break_deg, beam.warp_clear_deg))
        if beam.sun == "stuck_broken":
            self._blocked += [(n, SUN_FROM_DEG, ALWAYS_DEG) for n in self._bag]
        elif beam.sun == "stuck_clear":
            self._blind = (SUN_FROM_DEG, ALWAYS_DEG)
        elif beam.sun == "flicker":
            random = stream(seed, "sun", number)
            starts = SUN_FROM_DEG + 30.0 * random.random(FLICKERS)
            lengths = 0.02 + 0.2 * random.random(FLICKERS)
            self._blocked += [
                (1, float(low), float(low + length))
                for low, length in zip(starts, lengths, strict=True)
            ]

        if beam.is_blind:
            self._blind = (-ALWAYS_DEG, ALWAYS_DEG)

    @property
    def borders_deg(self) -> list[float]:
        """Cradle angles at which an output may change, in order."""
        borders = {angle for _, low, high in self._blocked for angle in (low, high)}
        return sorted(borders | set(self._blind or ()))

    def is_broken(self, beam: int) -> bool:
        """Output of a receiver as it was last looked at."""
        return self._output[beam]

    def stands_in(self, beam: int) -> bool:
        """Whether something other than sunlight or warp blocks a beam."""
        return self._bag[beam]

    def bag(self, beam: int, broken: bool, angle_deg: float) -> list[tuple[int, bool]]:
        """The bag enters or leaves a beam; returns the outputs that change."""
        self._bag[beam] = broken
        return self.look(angle_deg)

    def look(self, angle_deg: float) -> list[tuple[int, bool]]:
        """The outputs that have changed at a cradle angle, as (beam, is broken)."""
        sees_bag = self._blind is None or not self._blind[0] <= angle_deg < self._blind[1]
        changes = []
        for beam, bag in self._bag.items():
            output = (bag and sees_bag) or any(
                n == beam and low <= angle_deg < high for n, low, high in self._blocked
            )
            if output != self._output[beam]:
                self._output[beam] = output
                changes.append((beam, output))
        return changes
