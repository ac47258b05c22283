"""Guards of motion: sizing, clearances, screw, columns, frame."""

from tests.guards.entry import Guard, always, change, inverted, limit, never

_TESTS = "tests/motion/test_"
_OUTSIDE = "tests/outside/test_lead_screw.py::"

_SIZING = "rig.motion.sizing"
_BY_HAND = _TESTS + "sizing_by_hand.py::"
_FIGURE = _BY_HAND + "test_each_figure"
_ENOUGH = _BY_HAND + "test_a_figure_is_enough_within_its_bounds"
_PULL_OUT = _BY_HAND + "test_pull_out_torque_between_the_typed_points_and_beyond"
_DRIVES = _BY_HAND + "test_a_load_that_drives_the_screw_must_be_held_back"
_STATIONS = _BY_HAND + "test_stations_lie_at_every_fifth_degree_and_at_both_ends"


def _figure(name: str) -> str:
    return f"{_FIGURE}[{name}]"


_PUSH = _figure("push of the screw, most")
_TORQUE = _figure("torque to raise, most")
_RAISING = _figure("motor margin, raising")
_LOWERING = _figure("motor margin, lowering")
_LOCKING = _figure("self-locking")
_BUCKLING = _figure("buckling")
_CURRENT = _figure("supply current, most")
_BEND = _figure("bend from bag to sensor")
_BY_STEPS = _figure("error of the angle by steps")
_ENERGY = _figure("energy of the lowering board")

SIZING: list[Guard] = [
    limit(_SIZING, "G0_M_S2", _PUSH, times=1.001),
    limit(_SIZING, "MARGIN", _RAISING),
    limit(_SIZING, "SELF_LOCKING_MARGIN", _LOCKING),
    *(
        limit(
            _SIZING, "HIGHEST_RATE_DEG_S", _BY_HAND + "test_no_run_is_faster_than_3_deg_s", times=t
        )
        for t in (2, 0.5)
    ),
    limit(_SIZING, "BAG_FLEX_DEG", _BEND),
    limit(_SIZING, "STATION_STEP_DEG", _STATIONS),
    *(
        never(_SIZING, "Figure.is_enough", condition, _ENOUGH)
        for condition in (
            "self.least is None or self.value >= self.least",
            "self.most is None or self.value <= self.most",
        )
    ),
    *(
        always(_SIZING, "Figure.is_enough", condition, _ENOUGH)
        for condition in ("self.value >= self.least", "self.value <= self.most")
    ),
    inverted(_SIZING, "Sizing.warnings", "figure.is_enough", _ENOUGH),
    change(_SIZING, "_Loads.__init__", "radius_m**2", "0.0", _ENERGY),
    change(_SIZING, "_Loads.__init__", "length_m**2 / 12", "0.0", _ENERGY),
    change(
        _SIZING, "_Loads.__init__", "m.most_thread_friction", "m.least_thread_friction", _TORQUE
    ),
    change(
        _SIZING, "_Loads.__init__", "m.least_thread_friction", "m.most_thread_friction", _LOCKING
    ),
    change(_SIZING, "_Loads.__init__", "m.bearing_friction", "0.0", _TORQUE),
    change(_SIZING, "_Loads.force_n", "cos(radians(angle_deg))", "1.0", _BUCKLING),
    change(
        _SIZING,
        "_Loads.force_n",
        "self.moment_n_m * cos(radians(angle_deg)) + gain",
        "self.moment_n_m * cos(radians(angle_deg))",
        _PUSH,
    ),
    change(
        _SIZING,
        "_Loads.force_n",
        "radians(self._settings.motion.acceleration_deg_s2)",
        "self._settings.motion.acceleration_deg_s2",
        _PUSH,
    ),
    always(_SIZING, "_Loads.pull_out_n_m", "steps_hz <= high", _PULL_OUT),
    change(
        _SIZING,
        "_Loads.pull_out_n_m",
        "(next_torque - torque) * (steps_hz - low) / (high - low)",
        "0.0",
        _PULL_OUT,
    ),
    change(_SIZING, "_Loads.pull_out_n_m", "0.0", "m.pull_out_2000_n_m", _PULL_OUT, nth=2),
    change(
        _SIZING,
        "_Loads.full_steps_hz",
        "self.linkage.pulse_rate_hz(angle_deg, rate_deg_s) / self._settings.screw.microsteps",
        "self.linkage.pulse_rate_hz(angle_deg, rate_deg_s)",
        _RAISING,
    ),
    change(
        _SIZING,
        "_Loads.lowering_margin",
        "max(...)",
        "abs(self.rough.lower_torque_n_m(force))",
        _DRIVES,
    ),
    change(
        _SIZING,
        "_Loads.lowering_margin",
        "max(...)",
        "abs(self.slippery.lower_torque_n_m(force))",
        _LOWERING,
    ),
    change(
        _SIZING,
        "_Loads.lowering_margin",
        "abs(self.slippery.lower_torque_n_m(force))",
        "self.slippery.lower_torque_n_m(force)",
        _DRIVES,
    ),
    change(_SIZING, "_Loads.supply_a", "m.motor_current_a**2", "m.motor_current_a", _CURRENT),
    change(_SIZING, "_Loads.supply_a", "winding_w + shaft_w", "winding_w", _CURRENT),
    change(_SIZING, "_Loads.supply_a", "m.driver_efficiency * m.supply_v", "m.supply_v", _CURRENT),
    change(
        _SIZING,
        "_figures",
        "min(s.motor_margin for s in stations)",
        "max(s.motor_margin for s in stations)",
        _RAISING,
    ),
    change(
        _SIZING,
        "_figures",
        "min(s.buckling_margin for s in stations)",
        "max(s.buckling_margin for s in stations)",
        _BUCKLING,
    ),
    change(
        _SIZING,
        "_figures",
        "max(s.force_n for s in stations)",
        "min(s.force_n for s in stations)",
        _PUSH,
    ),
    change(
        _SIZING,
        "_figures",
        "min(loads.lowering_margin(angle, lowering) for angle in angles)",
        "max(loads.lowering_margin(angle, lowering) for angle in angles)",
        _LOWERING,
    ),
    change(
        _SIZING,
        "_figures",
        "min(loads.motor_margin(angle, fastest) for angle in angles)",
        "max(loads.motor_margin(angle, fastest) for angle in angles)",
        _figure("motor margin, raising fast"),
    ),
    change(
        _SIZING, "_figures", "settings.screw.max_pulse_rate_hz", "None", _figure("pulse rate, most")
    ),
    change(_SIZING, "_figures", "SELF_LOCKING_MARGIN", "None", _LOCKING),
    *(
        change(_SIZING, "_figures", "MARGIN", "None", _figure(name), nth=nth)
        for nth, name in enumerate(
            (
                "motor margin, raising",
                "motor margin, raising fast",
                "motor margin, lowering",
                "buckling",
                "supply margin",
            ),
            start=1,
        )
    ),
    change(_SIZING, "_geometry", "MAX_LENGTH_RATIO", "None", _figure("length ratio")),
    change(_SIZING, "_geometry", "least", "None", _figure("motor above the floor"), nth=2),
    change(_SIZING, "_angle_errors", "BAG_FLEX_DEG", "None", _BEND, nth=1),
    change(
        _SIZING,
        "_angle_errors",
        "BAG_FLEX_DEG",
        "None",
        _figure("cross slope by hinge play"),
        nth=2,
    ),
    change(
        _SIZING,
        "_angle_errors",
        "abs(cradle.bend_deg(at_bag, at_sensor))",
        "cradle.bend_deg(at_bag, at_sensor)",
        _BEND,
    ),
    change(
        _SIZING,
        "_angle_errors",
        "abs(cradle.slope_deg(at_sensor))",
        "cradle.slope_deg(at_sensor)",
        _BY_STEPS,
    ),
    change(
        _SIZING, "_angle_errors", "m.hinge_play_mm + m.screw_play_mm", "m.screw_play_mm", _BY_STEPS
    ),
    change(
        _SIZING, "_angle_errors", "m.hinge_play_mm + m.screw_play_mm", "m.hinge_play_mm", _BY_STEPS
    ),
    change(
        _SIZING,
        "_angle_errors",
        "settings.interlocks.angle_mismatch_deg / MARGIN",
        "settings.interlocks.angle_mismatch_deg",
        _BY_STEPS,
    ),
    change(
        _SIZING,
        "_angle_errors",
        "min(...)",
        "loads.linkage.lever_arm_mm(settings.linkage.soft_limit_deg)",
        _BY_STEPS,
    ),
    change(_SIZING, "_pinch", "4000.0", "8000.0", _ENERGY),
    change(_SIZING, "_pinch", "1e3", "1.0", _ENERGY),
    change(_SIZING, "_pinch", "sin(top)", "1.0", _figure("energy of a fall from the top")),
]

_CLEAR = "rig.motion.clearances"
_FLOOR = _BY_HAND + "test_where_the_motor_comes_nearest_to_the_floor"
_MOTOR = _figure("motor above the floor")
_PIVOTS = _TESTS + "sizing.py::test_the_pivots_are_as_far_apart_as_the_screw_is_long"

CLEARANCES: list[Guard] = [
    limit(_CLEAR, "TELESCOPE_MM", _figure("nut above bearing, lowered")),
    *(
        change(_CLEAR, "clearances", "TELESCOPE_MM", "0.0", _figure(name), nth=nth)
        for nth, name in enumerate(
            (
                "nut above bearing, lowered",
                "screw tip below plug, lowered",
                "screw beyond nut, at the upper switch",
            ),
            start=1,
        )
    ),
    limit(_CLEAR, "FLOOR_MM", _MOTOR),
    limit(_CLEAR, "ARM_MM", _figure("gap under the lowered cradle")),
    limit(_CLEAR, "BEAM_MM", _figure("beam above a warped board")),
    limit(_CLEAR, "WARP_MM", _figure("beam above a warped board")),
    change(_CLEAR, "clearances", "m.tube_plug_mm", "0.0", _figure("screw tip below plug, lowered")),
    change(
        _CLEAR,
        "clearances",
        "place.travel_deg",
        "place.soft_limit_deg",
        _figure("screw beyond nut, at the upper switch"),
    ),
    change(_CLEAR, "motor_floor_mm", "abs(along_x) * m.motor_width_mm / 2", "0.0", _MOTOR),
    change(_CLEAR, "motor_floor_mm", "along_z * m.motor_overhang_mm", "0.0", _MOTOR),
    change(_CLEAR, "motor_floor_mm", "min(heights)", "heights[0]", _MOTOR),
    change(_CLEAR, "motor_floor_mm", "min(heights)", "heights[-1]", _MOTOR),
    change(
        _CLEAR,
        "pivots_mm",
        "-radians(place.level_angle_deg)",
        "radians(place.level_angle_deg)",
        _PIVOTS,
    ),
    change(_CLEAR, "pivots_mm", "radians(angle_deg) - drop_rad", "radians(angle_deg)", _PIVOTS),
]

_SCREW = "rig.motion.lead_screw"
_EXAMPLE = _OUTSIDE + "test_shigley_example_8_1"
_THREADS = _BY_HAND + "test_clearance_in_the_root_of_a_thread_goes_with_its_pitch"
_COLUMN = "rig.motion.columns"
_ENDS = _OUTSIDE + "test_pipe_column_with_four_end_conditions"
_FRAME = "rig.motion.frame"

SCREW: list[Guard] = [
    change(
        _SCREW,
        "LeadScrew.lower_torque_n_m",
        "self._rubbing_mm - lead",
        "self._rubbing_mm + lead",
        _EXAMPLE,
    ),
    change(
        _SCREW, "LeadScrew.lower_torque_n_m", "self.collar_torque_n_m(force_n)", "0.0", _EXAMPLE
    ),
    change(
        _SCREW, "LeadScrew.raise_torque_n_m", "self.collar_torque_n_m(force_n)", "0.0", _EXAMPLE
    ),
    change(_SCREW, "LeadScrew.raise_torque_n_m", "pi * d - drag * lead", "pi * d", _EXAMPLE),
    change(
        _SCREW,
        "LeadScrew.raise_torque_n_m",
        "self.friction / cos(radians(self.flank_angle_deg))",
        "self.friction",
        _TORQUE,
    ),
    change(
        _SCREW,
        "LeadScrew.lower_torque_n_m",
        "self.friction / cos(radians(self.flank_angle_deg))",
        "self.friction",
        _LOWERING,
    ),
    change(_SCREW, "LeadScrew._rubbing_mm", "cos(radians(self.flank_angle_deg))", "1.0", _LOCKING),
    change(_SCREW, "LeadScrew.collar_torque_n_m", "2000", "1000", _EXAMPLE),
    change(_SCREW, "LeadScrew.raise_torque_n_m", "1000", "1.0", _EXAMPLE),
    change(
        _SCREW,
        "LeadScrew.self_locking",
        "self._rubbing_mm / self.lead_mm",
        "self.lead_mm / self._rubbing_mm",
        _LOCKING,
    ),
    *(
        change(_SCREW, "trapezoidal", str(clearance), "0.4", _THREADS)
        for clearance in (0.15, 0.25, 0.5)
    ),
    always(
        _COLUMN,
        "critical_force_n",
        "slenderness > sqrt(2 * stiffness / yield_mpa)",
        _OUTSIDE + "test_faires_problem_334_johnson_and_euler",
    ),
    never(
        _COLUMN,
        "critical_force_n",
        "slenderness > sqrt(2 * stiffness / yield_mpa)",
        _OUTSIDE + "test_hibbeler_example_13_1_tube",
    ),
    change(
        _COLUMN,
        "critical_force_n",
        "end_condition * pi**2 * modulus_mpa",
        "pi**2 * modulus_mpa",
        _ENDS,
    ),
    change(_COLUMN, "critical_force_n", "modulus_gpa * 1000", "modulus_gpa", _ENDS),
    change(_COLUMN, "round_bar", "inner_mm**4", "inner_mm**2", _ENDS),
    limit(_FRAME, "PIECES", _OUTSIDE + "test_slope_of_a_beam_on_its_ends", times=0.05),
    never(_FRAME, "Cradle.moment_n_mm", "x_mm >= b", _OUTSIDE + "test_slope_of_an_overhanging_end"),
    change(_FRAME, "unloading", "1 - cos(radians(angle_deg))", "1.0", _BEND),
]

ENTRIES: list[Guard] = [*SIZING, *CLEARANCES, *SCREW]
