"""Guards of a board that is raised by hand, in all packages."""

from tests.guards.entry import Guard, change, limit, never, without

_GYRO = "tests/devices/test_gyroscope.py::"
_LSM6, _MPU, _INPUTS = "rig.devices.lsm6", "rig.devices.mpu6050", "rig.devices.inputs"
_LIES = "test_outputs_of_the_newer_chip_lie_gyroscope_first"
_LOST = _GYRO + "test_a_turn_that_was_lost_takes_its_sample_with_it"
_LSM6_BITS = _GYRO + "test_registers_of_the_newer_chip"
_CYCLE = "tests/control/test_hand_cycle.py::"
_THROUGH = _CYCLE + "test_a_run_goes_through_its_states_and_finds_the_slide"
_ABSENT = _CYCLE + "test_what_the_rig_has_not_is_not_claimed"

DEVICES: list[Guard] = [
    limit(_LSM6, "GYRO_COUNTS_PER_DEG_S", _GYRO + _LIES),
    limit(_LSM6, "GYRO_125_DEG_S", _LSM6_BITS + "[17-82]"),
    limit(_LSM6, "GYRO_STARTS_S", _GYRO + "test_it_has_a_tenth_of_a_second_to_start"),
    limit(_LSM6, "TAG_GYROSCOPE", _LOST),
    limit(
        _MPU,
        "GYRO_COUNTS_PER_DEG_S",
        _GYRO + "test_outputs_of_the_older_chip_lie_temperature_between",
    ),
    change(_LSM6, "Lsm6.open", "code << 4 | code", "code", _LSM6_BITS + "[9-85]"),
    never(_LSM6, "Lsm6._in_runs", "turn is None or turn[0] != slot", _LOST),
    without(
        _LSM6,
        "Lsm6.close",
        "self._bus.write(self._address, CTRL2_G, 0)",
        _GYRO + "test_closing_switches_it_off",
    ),
    change(_INPUTS, "Inputs._wiring", "wiring[3:]", "wiring", _ABSENT),
    without(
        "rig.devices.no_motor",
        "NoMotor.enable",
        "raise RuntimeError('a board that is raised by hand has no motor')",
        _CYCLE + "test_a_motor_that_is_not_there_refuses_to_move",
    ),
]

_HAND, _PACE, _RECORDER = "rig.control.hand_cycle", "rig.control.pace", "rig.control.recorder"
_KEPT = (
    "tests/control/test_recorder.py::"
    "test_in_a_raise_by_hand_all_samples_just_before_its_end_are_kept"
)
CONTROL: list[Guard] = [
    never(
        _RECORDER,
        "Recorder.samples",
        "self.state == 'raising' and self._by_hand",
        _KEPT + "[slide]",
        _CYCLE + "test_the_file_of_a_slow_raise_stays_small",
    ),
    limit("rig.sliding", "BEFORE_SLIDE_S", _KEPT + "[slide]"),
    without(_RECORDER, "Recorder.enter", "self._release()", _KEPT + "[slide]", _KEPT + "[stop]"),
    without(_RECORDER, "Recorder.end", "self._release()", _KEPT + "[end]"),
    limit(_HAND, "FLAT_DEG", _CYCLE + "test_the_run_ends_when_the_board_lies_on_its_rest"),
    limit(_PACE, "SPAN_S", _CYCLE + "test_the_pace_is_that_of_the_last_moments"),
    limit(
        _PACE,
        "HINT_SHARE",
        _CYCLE + "test_the_hint_comes_at_half_of_what_is_refused[0.8-faster]",
        _CYCLE + "test_the_hint_comes_at_half_of_what_is_refused[1.2-slower]",
    ),
    never("rig.control.interlocks", "_angle_mismatch", "not machine.has_motor", _THROUGH),
    without(
        _HAND,
        "HandCycle._dwell",
        "self._check_home(angle_deg, cross_deg)",
        _CYCLE + "test_a_sensor_that_moved_is_met_while_the_board_lies_flat",
    ),
    never(
        _HAND,
        "HandCycle._until_started",
        "now_s > deadline_s",
        _CYCLE + "test_nobody_raises_the_board",
    ),
]

_SMOOTH, _UNEVEN = "rig.analysis.angle.smoother", "rig.analysis.raised_by_hand"
_RAISED = "tests/analysis/test_raised_by_hand.py::"
_JERK = _RAISED + "test_a_jerk_at_the_onset_is_refused"
_KNOCK = _RAISED + "test_a_knock_that_the_smoother_cannot_follow_is_a_jerk"
ANALYSIS: list[Guard] = [
    limit(
        _SMOOTH, "SILENCE_S", _RAISED + "test_samples_that_end_before_the_last_edge_give_no_angle"
    ),
    limit(
        _SMOOTH,
        "LEAST_S",
        _RAISED + "test_samples_that_begin_just_before_the_slide_are_a_fault",
        times=0.5,
    ),
    limit(
        _UNEVEN,
        "UNTOLD",
        _RAISED + "test_the_limit_of_a_jerk_is_five_times_the_floor_of_the_law",
    ),
    limit(_UNEVEN, "SURE", _KNOCK),
    never(
        _UNEVEN,
        "uneven_parts",
        "off > most_pace_off(asked)",
        _RAISED + "test_a_pace_beyond_the_laws_own_error_is_refused[0.55-True]",
        _RAISED + "test_a_pace_beyond_the_laws_own_error_is_refused[-0.6-True]",
    ),
    never(
        _UNEVEN,
        "uneven_parts",
        "felt > most_felt_deg(asked) or _felt_more_before(hand, onset_s)",
        _JERK,
        _KNOCK,
    ),
    limit(
        "rig.sliding",
        "PACE_OFF",
        _RAISED + "test_the_limit_of_the_pace_is_the_floor_of_the_law",
    ),
]

_LEVEL, _SELFTEST = "rig.procedures.level.by_hand", "rig.procedures.selftest.selftest"
_PROMPTS = "tests/procedures/level/test_by_hand.py::"
_ALIVE = "tests/procedures/selftest/test_by_hand.py::test_a_gyroscope_that_is_not_at_rest_is_bad"
PROCEDURES: list[Guard] = [
    limit(_LEVEL, "CENTRED_DEG", _PROMPTS + "test_a_bubble_that_no_hand_centres_ends_it[0.03]"),
    never(
        _LEVEL,
        "HandLevelProcedure._span",
        "abs(reading.along_deg - turned_deg) > SENSOR_TO_STEPS_DEG",
        _PROMPTS + "test_a_reading_that_the_sensor_does_not_bear_out_is_refused",
    ),
    limit(_SELFTEST, "MOST_BIAS_DEG_S", _ALIVE + "[bias]"),
    limit(_SELFTEST, "MOST_NOISE_DEG_S", _ALIVE + "[noise]"),
]

_TURNING, _SWEEP = "rig.calibration.turning", "rig.procedures.level.hand_sweep"
_IN_TURNING = "tests/calibration/test_turning.py::"
_SCATTERS = _IN_TURNING + "test_the_lag_scatters_as_stated"
_DELAY = _IN_TURNING + "test_the_delay_rests_on_the_gyroscopes_own_and_on_what_was_known"
_CONTRADICTS = _IN_TURNING + "test_a_gyroscope_that_contradicts_gravity_is_refused"
_HARDLY = _IN_TURNING + "test_a_board_that_was_hardly_raised_tells_nothing"
_FOLLOWED = _PROMPTS + "test_the_person_is_followed_wherever_they_turn_round"
_GIVEN_UP = _PROMPTS + "test_a_sweep_that_nobody_makes_or_ends_is_given_up"
SWEEP: list[Guard] = [
    limit(_TURNING, "U_GYRO_DELAY", _DELAY),
    limit(_TURNING, "KNOT_S", _SCATTERS + "[1.0]", times=4.0),
    limit(_TURNING, "MOST_GAIN_OFF", _CONTRADICTS + "[1.11]", _CONTRADICTS + "[0.89]"),
    limit(_TURNING, "LEAST_TURN_DEG", _HARDLY),
    never(_TURNING, "turning", "by_gravity < LEAST_TURN_DEG", _HARDLY),
    change(_TURNING, "turning", "abs(gain - 1.0)", "gain - 1.0", _CONTRADICTS + "[0.89]"),
    change(
        _TURNING,
        "turning",
        "-free[:top].sum(axis=0)",
        "free[:top].sum(axis=0)",
        _IN_TURNING + "test_the_gyroscopes_axis_and_gain[mounting0]",
    ),
    change(
        _TURNING,
        "_lag",
        "radius * acceleration",
        "0.0 * acceleration",
        _IN_TURNING + "test_where_the_sensor_lies_does_not_matter",
    ),
    never(_SWEEP, "_follow", "mover.time_s() > deadline_s", _GIVEN_UP + "[lift]"),
    never(
        _SWEEP,
        "_findings",
        "len(t_s) < 10.0 * setup.rate_hz or float(np.diff(t_s).max()) > 0.1",
        _PROMPTS + "test_a_sensor_that_falls_silent_in_the_sweep_ends_it",
    ),
    change(_SWEEP, "_follow", "angle_deg < top_deg - TURNED_DEG", "False", _FOLLOWED + "[20.0]"),
    never(
        "rig.procedures.level.finish",
        "_notes",
        "sweep is not None and (sweep.gyro_axis_off_deg or 0.0) > GYRO_AXIS_LIMIT_DEG",
        "tests/procedures/level/test_finish.py::test_a_gyroscope_about_another_axis_is_noted",
    ),
    limit(
        "rig.procedures.level.finish",
        "GYRO_AXIS_LIMIT_DEG",
        "tests/procedures/level/test_finish.py::test_a_gyroscope_about_another_axis_is_noted",
    ),
]

_STUDY = "tests/commands/test_study_by_hand.py::"
REFUSALS: list[Guard] = [
    never(
        "rig.settings.checks",
        "_mistakes",
        "settings.motion.raised_by == 'hand' and settings.blade.fitted",
        _STUDY + "test_a_blade_and_a_hand_do_not_go_together",
    ),
    never(
        "rig.commands.run.plan",
        "PlanRuns.__init__",
        "self._study.catalogue.settles and settings.motion.raised_by == 'hand'",
        _STUDY + "test_a_study_with_quick_starts_is_refused_with_a_way_out",
    ),
]

ENTRIES: list[Guard] = [*DEVICES, *CONTROL, *ANALYSIS, *PROCEDURES, *SWEEP, *REFUSALS]

_PATH = "a finer, longer or stiffer path gives the same angle within its stated u"
_PRIOR = "the accelerometer tells bias and gain by itself; a wider prior costs nothing visible"
NO_LIMITS: dict[str, str] = {
    **{f"{_SMOOTH}.{name}": _PATH for name in ("KNOT_S", "DEGREE", "AFTER_S", "GRID_S")},
    **{
        f"{_SMOOTH}.{name}": _PRIOR
        for name in ("U_GAIN_OTHER", "U_BIAS_AT_REST_DEG_S", "U_BIAS_DEG_S", "LEAST_REST")
    },
    f"{_SMOOTH}.LEAST_SAMPLES": "samples that are too few end too early or begin too late as well",
    f"{_UNEVEN}.TURNS": "the rate has settled to a thousandth after three",
    f"{_UNEVEN}.PACE_S": "a pace that is off is off for longer than that",
    f"{_HAND}.STILL_DEG": "it only dates the raise; the analysis leaves out the 0.3 s before",
    f"{_HAND}.STARTED_DEG": "the display changes a little later",
    f"{_HAND}.SUNK_DEG": "a raise that was given up ends a little later",
    f"{_LEVEL}.WAIT_S": "patience with a person",
    f"{_TURNING}.SMOOTH_S": "half or twice as long, and the lag is the same within its u",
    f"{_TURNING}.STEP_S": "a finer grid has the same in it",
    f"{_TURNING}.MOST_LAG_S": "only keeps the search in bounds",
    f"{_TURNING}.TURNS": "it has settled after four",
    f"{_TURNING}.HAIR_S": "of a difference quotient",
    f"{_SWEEP}.WAIT_S": "patience with a person",
    f"{_SWEEP}.HIGH_DEG": "a shorter sweep tells less, and its u says so",
    f"{_SWEEP}.PACE_DEG_S": "a slower sweep tells less, and its u says so",
    f"{_SWEEP}.FLAT_DEG": "the sweep ends a little earlier or later",
    f"{_SWEEP}.STILL_S": "the gyroscope's bias is found from half a second as well",
    f"{_SWEEP}.TURNED_DEG": "whoever turns round is followed a little later",
    f"{_SWEEP}.AXIS_BLOCK_S": "means over blocks of another length have the same plane",
}
