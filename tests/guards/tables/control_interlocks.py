"""Guards of what is looked for at any time: interlocks, their table, progress of a move."""

from tests.guards.entry import Guard, always, change, limit, never, without

_C = "rig.control."
_T = "tests/control/test_"
_FAULTS = _T + "interlocks.py::test_a_fault_puts_its_flag_on_the_run"
_INTERLOCKS, _INTERLOCKS_TEST = _C + "interlocks", _T + "interlocks.py::test_"
_MOVER, _MOVER_TEST = _C + "mover", _T + "mover.py::test_"
_WATCH, _WATCH_TEST = _C + "progress_watch", _T + "progress_watch.py::test_"

ENTRIES: list[Guard] = [
    # -- interlocks ---------------------------------------------------------------------------
    never(
        _INTERLOCKS,
        "_emergency_stop",
        "machine.inputs.emergency_stop_pressed",
        _INTERLOCKS_TEST + "the_emergency_stop_counts_in_every_state_but_halted",
    ),
    never(
        _INTERLOCKS,
        "_upper_limit",
        "machine.inputs.limit_upper_reached",
        _INTERLOCKS_TEST + "the_upper_switch_counts_where_something_moves",
    ),
    always(
        _INTERLOCKS,
        "check_interlocks",
        "state in entry.states",
        _INTERLOCKS_TEST + "the_upper_switch_counts_where_something_moves",
    ),
    never(
        _INTERLOCKS,
        "check_interlocks",
        "entry.response == 'last_run'",
        _INTERLOCKS_TEST + "a_nearly_full_disk_lets_the_run_finish",
    ),
    change(
        _INTERLOCKS,
        "check_interlocks",
        "machine.last_run_reason or MachineFaultError(cause, what)",
        "MachineFaultError(cause, what)",
        _INTERLOCKS_TEST + "the_first_reason_for_a_last_run_is_kept",
    ),
    never(
        _INTERLOCKS,
        "check_interlocks",
        "state != 'halted'",
        _INTERLOCKS_TEST + "what_the_sensors_samples_show_counts_unless_halted",
    ),
    always(
        _INTERLOCKS,
        "check_interlocks",
        "state != 'halted'",
        _INTERLOCKS_TEST + "what_the_sensors_samples_show_counts_unless_halted",
    ),
    change(
        _INTERLOCKS,
        "check_interlocks",
        "CONDITIONS.items()",
        "reversed(CONDITIONS.items())",
        _INTERLOCKS_TEST + "the_most_urgent_cause_is_told",
    ),
    limit(
        _INTERLOCKS,
        "CLEAR_OF_HOME_DEG",
        _INTERLOCKS_TEST + "the_lower_switch_must_have_closed_1_5_deg_above_home",
    ),
    limit(
        _INTERLOCKS,
        "CLEAR_OF_HOME_DEG",
        _INTERLOCKS_TEST + "the_lower_switch_must_have_closed_1_5_deg_above_home",
        times=0.5,
    ),
    change(
        _INTERLOCKS,
        "_lower_limit_stuck",
        "machine.step_angle_deg() - machine.settings.linkage.home_angle_deg",
        "machine.step_angle_deg()",
        _INTERLOCKS_TEST + "the_lower_switch_must_have_closed_1_5_deg_above_home",
    ),
    change(
        _INTERLOCKS,
        "_lower_limit_stuck",
        "not machine.is_homed or not machine.inputs.limit_lower_reached",
        "not machine.inputs.limit_lower_reached",
        _INTERLOCKS_TEST + "the_lower_switch_must_have_closed_1_5_deg_above_home",
    ),
    change(
        _INTERLOCKS,
        "_silent_imu",
        "silent > limit",
        "silent > 2 * limit",
        _INTERLOCKS_TEST + "a_silent_angle_sensor_is_noticed_after_its_last_sample",
        _INTERLOCKS_TEST + "a_silent_angle_sensor_is_noticed_from_opening_on",
    ),
    change(
        _INTERLOCKS,
        "_silent_imu",
        "machine.opened_s if seen is None else seen",
        "machine.clock.time_s() if seen is None else seen",
        _INTERLOCKS_TEST + "a_silent_angle_sensor_is_noticed_from_opening_on",
    ),
    change(
        _INTERLOCKS,
        "_angle_mismatch",
        "abs(angle - by_steps)",
        "angle - by_steps",
        _INTERLOCKS_TEST + "sensor_and_steps_may_differ_by_1_5_deg",
    ),
    change(
        _INTERLOCKS,
        "_angle_mismatch",
        "abs(angle - by_steps)",
        "by_steps - angle",
        _INTERLOCKS_TEST + "sensor_and_steps_may_differ_by_1_5_deg",
    ),
    change(
        _INTERLOCKS,
        "_angle_mismatch",
        "machine.settings.interlocks.angle_mismatch_deg",
        "2.0 * machine.settings.interlocks.angle_mismatch_deg",
        _INTERLOCKS_TEST + "sensor_and_steps_may_differ_by_1_5_deg",
    ),
    limit(
        _INTERLOCKS,
        "MISMATCH_LASTS_S",
        _INTERLOCKS_TEST + "sensor_and_steps_may_differ_by_1_5_deg",
    ),
    limit(
        _INTERLOCKS,
        "MISMATCH_LASTS_S",
        _INTERLOCKS_TEST + "sensor_and_steps_may_differ_by_1_5_deg",
        times=0.5,
    ),
    without(
        _INTERLOCKS,
        "_angle_mismatch",
        "machine.mismatch_since_s = None",
        _INTERLOCKS_TEST + "sensor_and_steps_may_differ_by_1_5_deg",
    ),
    change(
        _INTERLOCKS,
        "_edges_lost",
        "machine.inputs.failed_callbacks",
        "0",
        _INTERLOCKS_TEST + "an_input_whose_edge_was_lost_is_trusted_no_more",
    ),
    change(
        _INTERLOCKS,
        "_disk_nearly_full",
        "host.free_mb < limit",
        "2 * host.free_mb < limit",
        _INTERLOCKS_TEST + "a_nearly_full_disk_lets_the_run_finish",
    ),
    limit(_INTERLOCKS, "CLOCK_JUMP_S", _INTERLOCKS_TEST + "a_clock_that_jumps_counts_in_a_move"),
    limit(
        _INTERLOCKS,
        "CLOCK_JUMP_S",
        _INTERLOCKS_TEST + "a_clock_that_jumps_counts_in_a_move",
        times=0.5,
    ),
    change(
        _INTERLOCKS,
        "_clock_jump",
        "abs(jump_s)",
        "jump_s",
        _INTERLOCKS_TEST + "a_clock_that_jumps_counts_in_a_move",
    ),
    always(
        _INTERLOCKS,
        "_clock_jump",
        "machine.is_moving",
        _INTERLOCKS_TEST + "a_clock_that_jumps_counts_in_a_move",
    ),
    never(
        _INTERLOCKS,
        "_low_supply",
        "machine.host.is_supply_low",
        _INTERLOCKS_TEST + "a_supply_that_is_low_counts_in_every_state",
    ),
    limit(
        _INTERLOCKS,
        "DOUBTFUL_READINGS",
        _INTERLOCKS_TEST + "the_third_doubtful_climate_reading_lets_the_run_finish",
    ),
    limit(
        _INTERLOCKS,
        "DOUBTFUL_READINGS",
        _INTERLOCKS_TEST + "the_third_doubtful_climate_reading_lets_the_run_finish",
        times=0.5,
    ),
    # -- the table of faults ------------------------------------------------------------------
    *(
        change(_C + "faults.motion", "MOTION", "'step_loss'", "None", _FAULTS, nth=n)
        for n in (1, 2, 3)
    ),
    *(
        change(_C + "faults.placing", "PLACING", "'beam_fault'", "None", _FAULTS, nth=n)
        for n in (1, 2, 3)
    ),
    *(
        change(_C + "faults.sensors", "SENSORS", "'angle_sensor_fault'", "None", _FAULTS, nth=n)
        for n in (1, 2, 3, 4, 5)
    ),
    change(_C + "faults.computer", "COMPUTER", "'beam_fault'", "None", _FAULTS),
    change(
        _C + "faults.motion",
        "MOTION",
        "'cut'",
        "'last_run'",
        _INTERLOCKS_TEST + "the_emergency_stop_counts_in_every_state_but_halted",
        nth=1,
    ),
    change(
        _C + "faults.motion",
        "MOTION",
        "ALL",
        "MOVING",
        _INTERLOCKS_TEST + "the_emergency_stop_counts_in_every_state_but_halted",
    ),
    change(
        _C + "faults.kinds",
        "",
        "frozenset(STATES) - {'halted'}",
        "frozenset(STATES)",
        _INTERLOCKS_TEST + "the_emergency_stop_counts_in_every_state_but_halted",
    ),
    change(
        _C + "faults.computer",
        "COMPUTER",
        "'last_run'",
        "'cut'",
        _INTERLOCKS_TEST + "a_nearly_full_disk_lets_the_run_finish",
    ),
    change(
        _C + "faults.kinds",
        "",
        "ALL - {'parked', 'homing'}",
        "ALL",
        _INTERLOCKS_TEST + "sensor_and_steps_may_differ_by_1_5_deg",
    ),
    change(
        _C + "faults.kinds",
        "",
        "frozenset({'raising', 'sliding'})",
        "frozenset({'raising'})",
        _MOVER_TEST + "hands_may_go_through_the_beam_where_nothing_is_measured",
    ),
    # -- progress -----------------------------------------------------------------------------
    *(
        limit(
            _WATCH,
            name,
            _WATCH_TEST + "a_board_that_does_not_follow_is_noticed_in_either_direction",
            times=times,
        )
        for name in ("WRONG_WAY_DEG", "NO_PROGRESS_DEG", "LEAST_SHARE", "LASTS_S")
        for times in (1.5, 0.75)
    ),
    limit(_WATCH, "FRESH_S", _WATCH_TEST + "a_stale_angle_is_not_compared"),
    limit(_WATCH, "FRESH_S", _WATCH_TEST + "a_stale_angle_is_not_compared", times=0.5),
    change(
        _WATCH,
        "ProgressWatch._compare",
        "abs(by_steps) < WRONG_WAY_DEG",
        "by_steps < WRONG_WAY_DEG",
        _WATCH_TEST + "a_board_that_does_not_follow_is_noticed_in_either_direction",
    ),
    change(
        _WATCH,
        "ProgressWatch._compare",
        "abs(by_steps) >= NO_PROGRESS_DEG",
        "by_steps >= NO_PROGRESS_DEG",
        _WATCH_TEST + "a_board_that_does_not_follow_is_noticed_in_either_direction",
    ),
    change(
        _WATCH,
        "ProgressWatch._compare",
        "angle_deg - self._track[i][1]",
        "self._track[i][1] - angle_deg",
        _WATCH_TEST + "a_board_that_follows_raises_nothing",
    ),
    change(
        _WATCH,
        "ProgressWatch._compare",
        "share < -LEAST_SHARE",
        "share < LEAST_SHARE",
        _WATCH_TEST + "a_board_that_does_not_follow_is_noticed_in_either_direction",
    ),
    change(
        _WATCH,
        "ProgressWatch.look",
        "self._since_s = None",
        "pass",
        _WATCH_TEST + "a_deviation_shorter_than_0_3_s_is_ignored",
    ),
    without(
        _WATCH,
        "ProgressWatch.look",
        "self.begin()",
        _WATCH_TEST + "a_stale_angle_restarts_the_comparison",
    ),
    # Without `_since_s = None` in `begin` nothing changes: an empty track has no problem, and the
    # next look forgets since when there was one.
    without(
        _WATCH,
        "ProgressWatch.begin",
        "self._track = []",
        _WATCH_TEST + "a_new_move_begins_from_nothing",
    ),
]
