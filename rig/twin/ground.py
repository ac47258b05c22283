"""What the board does to the bag on it: sticky spots, a crown, and the motor's vibration."""

from dataclasses import dataclass
from math import pi, sin, sqrt

from rig.settings.model import Settings
from rig.twin.mechanics import TrueLinkage
from rig.twin.scenario import BoardTruth


@dataclass(frozen=True)
class Shake:
    """Vibration of the frame, and how much of its friction it takes from the bag.

    The frame passes the motor's vibration on as one mass on a spring: raised at its resonance,
    falling as 1/f² above it (any textbook on vibration). What a bag of pellets makes of it is
    invented: friction falls by a share of the acceleration in g.
    """

    share: float
    """Of friction that is lost for 1 g on the board."""
    vibration_g: float
    """Amplitude at the motor."""
    frame_hz: float
    quality: float
    linkage: TrueLinkage
    pulses_per_mm: float

    def loss(self, angle_rad: float, rate_rad_s: float) -> float:
        """Share of friction that is lost at a cradle angle and rate; none while it stands."""
        pulse_hz = abs(rate_rad_s) * self.linkage.mm_per_rad(angle_rad) * self.pulses_per_mm
        if pulse_hz < 1.0:
            return 0.0
        ratio = pulse_hz / self.frame_hz
        off = 1.0 - ratio * ratio
        return self._loss_of(1.0 / sqrt(off * off + (ratio / self.quality) ** 2))

    @property
    def most(self) -> float:
        """More than is ever lost."""
        return self._loss_of(1.2 * max(1.0, self.quality))

    def _loss_of(self, passed: float) -> float:
        return min(0.5, self.share * self.vibration_g * passed)


@dataclass(frozen=True)
class Ground:
    """The board under one placing of a bag, over its travel downhill."""

    spots: tuple[tuple[float, float, float], ...] = ()
    """Travel (mm) from and to which the bag lies on it, and how much more it grips half-way."""
    slope_rad: float = 0.0
    """Of the board where the bag was put, beyond that of the board as a whole."""
    slope_rad_m: float = 0.0
    """How it grows with the travel."""
    shake: Shake | None = None

    @property
    def is_flat(self) -> bool:
        """No crown at all."""
        return self.slope_rad == 0.0 and self.slope_rad_m == 0.0

    def bend_rad(self, travel_m: float) -> float:
        """Slope at the bag's middle, beyond that of the board as a whole."""
        return self.slope_rad + self.slope_rad_m * travel_m

    def grip(self, travel_m: float) -> float:
        """Factor of friction by the sticky spots under the bag."""
        factor = 1.0
        for low, high, gain in self.spots:
            place = (1000.0 * travel_m - low) / (high - low)
            if 0.0 < place < 1.0:
                factor += gain * sin(pi * place) ** 2
        return factor

    def loss(self, angle_rad: float, rate_rad_s: float) -> float:
        """Share of friction that vibration takes."""
        return 0.0 if self.shake is None else self.shake.loss(angle_rad, rate_rad_s)

    @property
    def most_loss(self) -> float:
        """More than vibration ever takes."""
        return 0.0 if self.shake is None else self.shake.most


FLAT = Ground()


def start_grip(board: BoardTruth, settings: Settings) -> float:
    """Factor of friction, by the sticky spots, of a bag that lies where it is to be put."""
    bag = settings.bag
    return Ground(spots=_under(board, settings.beam.position_mm + bag.gap_mm, bag.length_mm)).grip(
        0.0
    )


def _under(
    board: BoardTruth, leading_mm: float, length_mm: float
) -> tuple[tuple[float, float, float], ...]:
    upper = leading_mm + length_mm
    return tuple(
        (upper - spot.place_mm - length_mm - spot.width_mm, upper - spot.place_mm, spot.gain)
        for spot in board.spots
    )


def crown_slope_rad(board: BoardTruth, settings: Settings, place_mm: float) -> float:
    """Slope, uphill positive, of a crowned board at a place uphill of its lower edge.

    The crown is a parabola: y = h·(1 − (2x/L)²) with x from the middle, so y′ = −8·h·x/L².
    """
    length = settings.board.length_mm
    return -8.0 * board.crown_mm * (place_mm - 0.5 * length) / length**2


def ground_of(
    board: BoardTruth,
    settings: Settings,
    linkage: TrueLinkage,
    *,
    vibration_g: float,
    leading_mm: float,
    length_mm: float,
) -> Ground:
    """The board under a bag.

    Args:
        board: its truth.
        settings: sizes of the board, pulses of the screw.
        linkage: the screw's true triangle.
        vibration_g: amplitude at the motor; 0 where nothing steps.
        leading_mm: place of the bag's leading edge, uphill of the board's lower edge.
        length_mm: of the bag along the slide.
    """
    middle_mm = leading_mm + 0.5 * length_mm
    shake = None
    if board.shake_share > 0.0 and vibration_g > 0.0:
        screw = settings.screw
        shake = Shake(
            share=board.shake_share,
            vibration_g=vibration_g,
            frame_hz=board.frame_hz,
            quality=board.frame_quality,
            linkage=linkage,
            pulses_per_mm=screw.full_steps_per_turn * screw.microsteps / screw.lead_mm,
        )
    return Ground(
        spots=_under(board, leading_mm, length_mm),
        slope_rad=crown_slope_rad(board, settings, middle_mm),
        slope_rad_m=8000.0 * board.crown_mm / settings.board.length_mm**2,
        shake=shake,
    )
