"""Guards of the twin's truths: drawn from figures of its own, and each tooth where it belongs."""

from tests.guards.entry import Guard, always, change, limit, never

_DRAWS, _MADE = "rig.twin.draws", "rig.twin.calibration"
_SLIDE, _GROUND, _PATH = "rig.twin.slide", "rig.twin.ground", "rig.twin.path"
_TEETH = "tests/twin/test_teeth.py::test_"
_OWN = "tests/twin/test_draws.py::test_placings_have_a_spread_of_their_own_about_the_stated_gap"
_DELAY = (
    "tests/twin/test_calibration.py::test_errors_have_a_spread_of_their_own_and_not_the_stated_one"
)
_LEVEL = _TEETH + "the_level_stands_where_the_board_slopes_otherwise"
_CREEPS = _TEETH + "creep_moves_the_bag_as_its_law_integrates"
_INTO = _TEETH + "a_bag_may_creep_into_the_beam_and_the_slide_is_not_taken_back"
_LOWERED = _TEETH + "a_board_that_is_lowered_stops_the_creep"
_BRISTLE = _TEETH + "a_law_with_a_bristle_creeps_by_itself_alone"
_CROWN = _TEETH + "a_crown_is_a_parabola_and_the_bag_slides_by_its_own_slope"
_SHAKE = _TEETH + "vibration_takes_friction_at_the_resonance_and_less_above_it"
_SPOT = _TEETH + "a_sticky_spot_holds_by_how_much_of_it_lies_under_the_bag"
_FILL = _TEETH + "fill_that_shifts_moves_its_own_edges"
_TURNS = _TEETH + "a_bag_that_turns_reaches_ahead_and_lags_behind_alike"

ENTRIES: list[Guard] = [
    # -- nothing that the analysis reads makes the truth
    change(_DRAWS, "draw_placing", "GAP_SD_MM", "settings.bag.u_gap_mm", _OWN),
    change(_DRAWS, "draw_placing", "MAX_SLUMP_MM", "2.0 * settings.bag.slump_mm", _OWN),
    change(_MADE, "calibration_for", "WRONG_DELAY_MS", "u_delay_ms", _DELAY),
    change(
        _MADE,
        "calibration_for",
        "random.normal(0.0, 1.0, 8) * wrong",
        "random.normal(0.0, 1.0, 8) * sigma",
        _DELAY,
    ),
    # -- each tooth
    change(_MADE, "calibration_for", "tip - slope_deg * axis", "tip + slope_deg * axis", _LEVEL),
    change(
        _MADE,
        "calibration_for",
        "settings.linkage.home_angle_deg + scenario.board.floor_along_deg + slope_deg",
        "settings.linkage.home_angle_deg + scenario.board.floor_along_deg",
        _LEVEL,
    ),
    limit(_SLIDE, "CREEP_FROM", _CREEPS, times=0.25),
    never(
        _SLIDE, "SlideMotion._creep", "then < now and then < self._start_tangent(loss)", _LOWERED
    ),
    never(_SLIDE, "SlideMotion._creep", "reach_mm(end) >= place", _INTO),
    change(_SLIDE, "SlideMotion._may_creep", "not self.law.is_dynamic", "True", _BRISTLE),
    change(_SLIDE, "SlideMotion._tangent", "self.ground.bend_rad(self.travel_m)", "0.0", _CROWN),
    always(_SLIDE, "SlideMotion._slide", "ground.is_flat", _CROWN),
    change(_GROUND, "crown_slope_rad", "-8.0", "8.0", _CROWN),
    change(_GROUND, "Shake.loss", "off * off", "1.0", _SHAKE),
    change(_SLIDE, "SlideMotion._level", "1.0 - loss", "1.0", _SHAKE),
    always(_GROUND, "Ground.grip", "0.0 < place < 1.0", _SPOT),
    change(_PATH, "BagPath.travel_mm", "self.slump_follows * self.slump_mm", "0.0", _FILL),
    change(_PATH, "BagPath._ahead_mm", "-half", "half", _TURNS),
]
