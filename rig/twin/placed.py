"""One placing of the bag, ready to slide, and the truth about it afterwards."""

from dataclasses import dataclass
from math import degrees, radians

from rig.settings.model import Settings
from rig.twin.draws import draw_placing, moisture_at, surface_at
from rig.twin.fabric import coefficients
from rig.twin.friction import make_law
from rig.twin.ground import Ground, crown_slope_rad, ground_of
from rig.twin.mechanics import Incline, TrueLinkage
from rig.twin.path import BagPath
from rig.twin.scenario import PlacingDraw, Scenario, Truth
from rig.twin.slide import SlideMotion

ON_CATCH_MM = 0.5
"""A bag that lies nearer to the catch than this lies on it."""


def incline_of(scenario: Scenario) -> Incline:
    """How the hinge's frame of this rig stands against gravity."""
    board = scenario.board
    return Incline.of(board.floor_along_deg, board.floor_across_deg + board.hinge_cross_deg)


def linkage_of(scenario: Scenario, settings: Settings) -> TrueLinkage:
    """The screw's triangle as it really is."""
    board, linkage = scenario.board, settings.linkage
    return TrueLinkage.of(
        linkage.base_pivot_mm + board.base_pivot_error_mm,
        linkage.cradle_pivot_mm + board.cradle_pivot_error_mm,
        linkage.level_angle_deg,
    )


def bag_radius_m(settings: Settings) -> float:
    """From the hinge, at the board's lower edge, to the middle of the bag before it slides."""
    return (settings.beam.position_mm + settings.bag.gap_mm + settings.bag.length_mm / 2.0) / 1000.0


@dataclass
class PlacedBag:
    """A bag that was put down and, once the raise begins, its slide."""

    scenario: Scenario
    settings: Settings
    placing: PlacingDraw
    placed_s: float
    n_beams: int
    dwell_s: float | None = None
    slide: SlideMotion | None = None
    is_gone: bool = False
    """It has fallen off the board."""

    @classmethod
    def put(
        cls,
        seed: int,
        scenario: Scenario,
        settings: Settings,
        number: int,
        placed_s: float,
        n_beams: int,
    ) -> "PlacedBag":
        """Put the bag down for the `number`-th time."""
        placing = draw_placing(seed, scenario, settings, number)
        return cls(scenario, settings, placing, placed_s, n_beams)

    def raise_from(self, time_s: float, hours: float = 0.0) -> SlideMotion:
        """The raise begins: from here the friction is settled, age of contact included.

        Args:
            time_s: now.
            hours: time since the rig was switched on, for the air.
        """
        scenario, placing = self.scenario, self.placing
        self.dwell_s = time_s - self.placed_s
        self.moisture = moisture_at(scenario, hours)
        self.surface_humidity_pct = surface_at(scenario.air, hours)
        mu_static, mu_kinetic = coefficients(
            scenario.face,
            moisture=self.moisture,
            dwell_s=self.dwell_s,
            slides_before=scenario.slides_before + placing.number - 1,
            scatter=placing.scatter,
            pressure_pa=scenario.bag.pressure_pa,
        )
        law = make_law(scenario.law, mu_static, mu_kinetic, scenario.law_parameters)
        path = self._path()
        self.slide = SlideMotion(law, incline_of(scenario), path, time_s, self._ground())
        if self.is_gone or path.catch_travel_mm <= ON_CATCH_MM:
            self.slide.stay()
        return self.slide

    def _path(self) -> BagPath:
        bag, beam, placing = self.scenario.bag, self.settings.beam, self.placing
        spacing = beam.second_spacing_mm + self.scenario.beam.spacing_error_mm
        catch = bag.catch_travel_mm
        if catch is None:
            catch = placing.gap_mm + beam.position_mm - self.settings.board.catch_mm
        return BagPath(
            gap_mm=placing.gap_mm,
            length_mm=placing.length_mm,
            slump_mm=placing.slump_mm,
            slump_done=placing.slump_done,
            slump_is_sudden=placing.slump_is_sudden,
            slump_follows=placing.slump_follows,
            late_slump_mm=placing.late_slump_mm,
            late_slump_travel_mm=bag.late_slump_travel_mm,
            body_mm=(self.settings.bag.length_mm, self.settings.bag.width_mm),
            skew_deg=placing.skew_deg,
            turn_deg=placing.turn_deg,
            turn_travel_mm=bag.turn_travel_mm,
            creep_mm_s=placing.creep_mm_s,
            creep_tangent=bag.creep_tangent,
            yaw_rad=radians(self.scenario.board.yaw_deg),
            beam_offsets_mm=(0.0, spacing)[: self.n_beams],
            catch_travel_mm=catch,
            stall_at_mm=bag.stall_at_mm,
            stall_width_mm=bag.stall_width_mm,
            stall_gain=bag.stall_gain,
        )

    def _ground(self) -> Ground:
        scenario, settings, placing = self.scenario, self.settings, self.placing
        is_stepped = settings.motion.raised_by == "motor"
        return ground_of(
            scenario.board,
            settings,
            linkage_of(scenario, settings),
            vibration_g=scenario.imu.vibration_g if is_stepped else 0.0,
            leading_mm=settings.beam.position_mm + placing.gap_mm,
            length_mm=placing.length_mm,
        )

    def truth(self) -> Truth:
        """What happened to this placing, as far as it has come; needs a raise to have begun."""
        slide, placing, board = self.slide, self.placing, self.scenario.board
        if slide is None:
            raise ValueError("the board was not raised since the bag was placed")
        return Truth(
            number=placing.number,
            law=self.scenario.law,
            mu_static=slide.law.mu_static,
            mu_kinetic=slide.law.mu_kinetic,
            onset_angle_deg=slide.onset_deg,
            onset_time_s=slide.onset_time_s,
            gap_mm=placing.gap_mm - placing.slump_mm - 1000.0 * slide.crept_m,
            length_mm=placing.length_mm + (1.0 - placing.slump_follows) * placing.slump_mm,
            gap_placed_mm=placing.gap_mm,
            slump_mm=placing.slump_mm,
            skew_deg=placing.skew_deg,
            cross_slope_deg=board.floor_across_deg + board.hinge_cross_deg,
            dwell_s=self.dwell_s,
            surface_humidity_pct=self.surface_humidity_pct,
            moisture=self.moisture,
            is_caught=slide.is_caught,
            crept_mm=1000.0 * slide.crept_m,
            slump_follows=placing.slump_follows,
            slump_is_sudden=placing.slump_is_sudden,
            late_slump_mm=placing.late_slump_mm,
            turn_deg=placing.turn_deg,
            local_slope_deg=degrees(slide.ground.slope_rad),
            level_slope_deg=degrees(crown_slope_rad(board, self.settings, board.level_at_mm)),
            board_yaw_deg=board.yaw_deg,
            sensor_yaw_deg=self.scenario.imu.yaw_deg,
            sticky_share=slide.ground.grip(0.0) - 1.0,
            vibration_loss=slide.lost_share,
        )
