"""Guards of one run: its steps, the bag through the beams, placing by hand."""

from tests.guards.entry import Guard, always, change, inverted, limit, never, swapped, without

_C = "rig.control."
_T = "tests/control/test_"
_CYCLE, _CYCLE_TEST = _C + "cycle", _T + "cycle_steps.py::test_"
_PASSAGE, _PASSAGE_TEST = _C + "passage", _T + "passage.py::test_"
_PLACING, _PLACING_TEST = _C + "placing", _T + "placing.py::test_"
_WAYS_OUT = _CYCLE_TEST + "every_way_out_switches_off_and_closes_the_file"
_HOME = _CYCLE_TEST + "a_home_reading_may_differ_by_0_3_deg_from_the_calibration"

ENTRIES: list[Guard] = [
    # -- one run ------------------------------------------------------------------------------
    without(_CYCLE, "Cycle.run", "machine.motors_off()", _WAYS_OUT),
    swapped(
        _CYCLE,
        "Cycle.run",
        "machine.motors_off()",
        "if outcome not in ('slid', 'no_slide'): ...",
        _CYCLE_TEST + "what_cannot_be_written_leaves_the_driver_off",
    ),
    without(_CYCLE, "Cycle.run", "recorder.flag('halted')", _WAYS_OUT),
    without(_CYCLE, "Cycle.run", "machine.is_homed = False", _WAYS_OUT),
    without(_CYCLE, "Cycle.run", "machine.enter('halted')", _WAYS_OUT),
    without(_CYCLE, "Cycle.run", "machine.recorder = None", _WAYS_OUT),
    without(_CYCLE, "Cycle.run", "recorder.end(...)", _WAYS_OUT),
    change(
        _CYCLE,
        "Cycle.run",
        "recorder.end(outcome, machine.imu.samples_lost - lost, machine.bus.retries - retries)",
        "recorder.end(outcome, machine.imu.samples_lost, machine.bus.retries)",
        _WAYS_OUT,
    ),
    without(_CYCLE, "Cycle.run", "self._note_fault(error)", _WAYS_OUT),
    without(_CYCLE, "Cycle.run", "outcome = 'stopped'", _WAYS_OUT),
    without(_CYCLE, "Cycle.run", "outcome = 'fault'", _WAYS_OUT),
    without(_CYCLE, "Cycle._note_fault", "self._machine.latch(fault)", _WAYS_OUT),
    without(
        _CYCLE,
        "Cycle._note_fault",
        "self._recorder.flag(entry.flag)",
        _CYCLE_TEST + "a_fault_is_written_with_cause_and_remedy_and_flags_the_run",
    ),
    never(_CYCLE, "Cycle._note_fault", "fault.cause == 'emergency_stop'", _WAYS_OUT),
    without(
        _CYCLE,
        "Cycle._home",
        "machine.stepper.disable()",
        _CYCLE_TEST + "the_home_reading_is_taken_at_rest",
    ),
    limit(_CYCLE, "HOME_SETTLE_S", _CYCLE_TEST + "the_home_reading_is_taken_at_rest"),
    limit(_CYCLE, "HOME_CAPTURE_S", _CYCLE_TEST + "the_home_reading_is_taken_at_rest"),
    without(
        _CYCLE,
        "Cycle._home",
        "self._check_home(angle_deg, cross_deg)",
        _CYCLE_TEST + "a_floor_that_moved_stops_the_run",
    ),
    change(_CYCLE, "Cycle._check_home", "abs(along)", "along", _HOME),
    change(_CYCLE, "Cycle._check_home", "abs(across)", "across", _HOME),
    change(
        _CYCLE,
        "Cycle._check_home",
        "max(abs(along), abs(across)) > limit",
        "abs(along) > limit",
        _HOME,
    ),
    change(
        _CYCLE,
        "Cycle._check_home",
        "self._machine.settings.interlocks.home_mismatch_deg",
        "2.0 * self._machine.settings.interlocks.home_mismatch_deg",
        _HOME,
    ),
    without(_CYCLE, "Cycle._check_home", "self._recorder.flag('floor_tilt')", _HOME),
    change(
        _CYCLE,
        "Cycle._check_home",
        "check is not None and check.covers(calibration, angle_deg, cross_deg, limit)",
        "check is not None",
        _CYCLE_TEST + "a_floor_that_a_level_has_confirmed_is_flagged_and_the_run_goes_on",
    ),
    never(
        _CYCLE,
        "Cycle._check_home",
        "check is not None and check.covers(calibration, angle_deg, cross_deg, limit)",
        _CYCLE_TEST + "a_floor_that_a_level_has_confirmed_is_flagged_and_the_run_goes_on",
    ),
    without(
        _CYCLE,
        "Cycle._dwell",
        "self._recorder.flag('moved_before_raise')",
        _CYCLE_TEST + "an_edge_in_the_dwell_flags_the_run",
    ),
    never(
        _CYCLE,
        "Cycle._dwell",
        "is_beam_broken(self._machine.inputs)",
        _CYCLE_TEST + "a_beam_that_is_broken_at_the_end_of_the_dwell_stops_the_run",
    ),
    change(
        _CYCLE,
        "Cycle._dwell",
        "self._request.dwell_s",
        "2.0 * self._request.dwell_s",
        _CYCLE_TEST + "the_bag_rests_for_the_dwell",
    ),
    change(
        "rig.control.passage",
        "Passage.is_over",
        "now_s - self._last_edge_s >= after_s",
        "now_s - self._last_edge_s >= 2.0 * after_s",
        _CYCLE_TEST + "the_raise_goes_on_for_0_15_s_after_the_bag_has_passed",
    ),
    change(
        "rig.control.passage",
        "Passage.is_over",
        "now_s - self._last_edge_s >= after_s",
        "True",
        _CYCLE_TEST + "the_raise_goes_on_for_0_15_s_after_the_bag_has_passed",
    ),
    change(
        "rig.control.passage",
        "Passage.is_over",
        "self._last_edge_s",
        "self.cleared_s",
        "tests/faults/test_matrix_by_hand.py"
        "::test_a_fault_ends_the_run_as_the_table_says[beam flickers - sliding]",
    ),
    limit(
        _CYCLE,
        "APPROACH_REST_S",
        _CYCLE_TEST + "after_a_quick_approach_the_cradle_comes_to_rest",
    ),
    never(
        _CYCLE,
        "Cycle._raise",
        "passage.broken_s is not None and passage.broken_s <= begun_s",
        _CYCLE_TEST + "a_bag_that_slides_in_the_approach_is_flagged",
    ),
    always(
        _CYCLE,
        "Cycle._raise",
        "passage.broken_s is not None and passage.broken_s <= begun_s",
        _CYCLE_TEST + "after_a_quick_approach_the_cradle_comes_to_rest",
    ),
    without(
        "rig.procedures.runs",
        "_one_run",
        "recorder.flag('settling')",
        "tests/control/test_quick_start.py::test_a_settling_raise_has_an_angle_and_does_not_count",
    ),
    limit(
        "rig.settings.method",
        "QUICK_RATE_DEG_S",
        "tests/control/test_quick_start.py::test_a_quick_start_finds_the_same_angle_in_less_time",
        times=0.5,
    ),
    change(
        _CYCLE,
        "Cycle._raise",
        "approach_deg is not None and approach_deg > machine.step_angle_deg()",
        "approach_deg is not None",
        _CYCLE_TEST + "an_approach_angle_below_the_board_is_skipped",
    ),
    without(
        _CYCLE,
        "Cycle._raise",
        "recorder.flag('stalled_in_slide' if passage.broken_s is not None else 'no_slide')",
        _CYCLE_TEST + "a_bag_that_does_not_pass_is_flagged_by_what_the_beam_saw",
    ),
    inverted(
        _CYCLE,
        "Cycle._raise",
        "passage.broken_s is not None",
        _CYCLE_TEST + "a_bag_that_does_not_pass_is_flagged_by_what_the_beam_saw",
        nth=2,
    ),
    limit(_CYCLE, "LOWER_TO_DEG", _CYCLE_TEST + "the_board_is_lowered_to_0_3_deg_above_home"),
    # -- the bag through the beams ------------------------------------------------------------
    change(
        _PASSAGE,
        "Passage._look_at_edge",
        "SHORTEST_PASS_S <= passed_s <= self._longest_s",
        "SHORTEST_PASS_S <= passed_s",
        _PASSAGE_TEST + "a_bag_takes_no_less_and_no_more",
    ),
    without(
        _PASSAGE,
        "Passage._go_on_raising",
        "self._recorder.flag('edge_crept')",
        _PASSAGE_TEST + "a_bag_takes_no_less_and_no_more",
    ),
    change(
        _PASSAGE,
        "Passage.look",
        "max(self._longest_s, self._machine.settings.cycle.clear_timeout_s)",
        "self._machine.settings.cycle.clear_timeout_s",
        _PASSAGE_TEST
        + "a_beam_that_stays_broken_is_slumped_fill_and_the_raise_goes_on[by the slowest pass]",
    ),
    change(
        _PASSAGE,
        "Passage.look",
        "max(self._longest_s, self._machine.settings.cycle.clear_timeout_s)",
        "self._longest_s",
        _PASSAGE_TEST
        + "a_beam_that_stays_broken_is_slumped_fill_and_the_raise_goes_on[by the settings]",
    ),
    change(
        _PASSAGE,
        "Passage.look",
        "self.cleared_s is None",
        "True",
        _PASSAGE_TEST + "a_bag_that_has_passed_is_not_stuck",
    ),
    change(
        _PASSAGE,
        "Passage.__init__",
        "f'beam_{machine.inputs.beams}'",
        "'beam_1'",
        _PASSAGE_TEST + "with_two_beams_the_lower_one_counts",
    ),
    # -- placing by hand ----------------------------------------------------------------------
    limit(
        _PLACING,
        "BUTTON_POLL_S",
        _PLACING_TEST + "a_press_counts_and_a_spike_does_not",
        times=5.0,
    ),
    never(
        _PLACING,
        "wait_for_start",
        "pressed is None",
        _PLACING_TEST + "a_person_is_waited_for_no_longer_than_allowed",
    ),
    change(
        _PLACING,
        "HandPlacing.place",
        "self._is_ready, False",
        "self._is_ready, self._is_ready",
        _PLACING_TEST + "only_the_first_bag_lies_ready",
    ),
    always(
        _PLACING,
        "HandPlacing.place",
        "not is_beam_broken(self._inputs)",
        _PLACING_TEST + "with_a_broken_beam_it_asks_again",
    ),
    never(
        _PLACING,
        "HandPlacing.place",
        "is_beam_broken(self._inputs)",
        _PLACING_TEST + "a_bag_that_is_said_to_lie_ready_must_leave_the_beam_free",
        nth=2,
    ),
    change(
        _PLACING,
        "is_beam_broken",
        "range(1, inputs.beams + 1)",
        "range(1, 2)",
        _PLACING_TEST + "a_bag_that_is_said_to_lie_ready_must_leave_the_beam_free",
    ),
    change(
        _PLACING,
        "next_start",
        "button.update(time_s(), inputs.start_pressed)",
        "False",
        _PLACING_TEST + "a_press_counts_though_its_edges_are_lost",
    ),
    change(
        _PLACING,
        "next_start",
        "button.update(time_s(), inputs.start_pressed)",
        "inputs.start_pressed",
        _PLACING_TEST + "a_button_that_is_held_all_along_counts_once_it_was_let_go",
        "tests/procedures/test_standby.py::test_a_start_button_held_at_boot_starts_nothing",
    ),
]
