"""Guards of waiting, moving and homing."""

from tests.guards.entry import Guard, always, change, limit, never, swapped, without

_C = "rig.control."
_T = "tests/control/test_"
_HOMING, _HOMING_TEST = _C + "homing", _T + "homing.py::test_"
_MOVER, _MOVER_TEST = _C + "mover", _T + "mover.py::test_"
_BRAKE_STOPS = _MOVER_TEST + "a_stop_brakes_and_waits_until_it_stands"
_FLICKER = _MOVER_TEST + "twelve_edges_within_a_second_are_a_fault"

ENTRIES: list[Guard] = [
    # -- waiting and moving -------------------------------------------------------------------
    limit(_MOVER, "POLL_S", _MOVER_TEST + "a_condition_is_noticed_within_50_ms"),
    limit(_MOVER, "STOP_TIME_S", _MOVER_TEST + "a_brake_that_takes_more_than_2_s_is_cut"),
    limit(
        _MOVER,
        "STOP_TIME_S",
        _MOVER_TEST + "a_brake_that_takes_more_than_2_s_is_cut",
        times=0.5,
    ),
    limit(_MOVER, "FLICKER_EDGES", _FLICKER),
    limit(_MOVER, "FLICKER_EDGES", _FLICKER, times=0.5),
    limit(_MOVER, "FLICKER_S", _FLICKER),
    limit(_MOVER, "FLICKER_S", _FLICKER, times=0.5),
    change(
        _MOVER,
        "Mover._watch_flicker",
        "MEASURING | {'dwelling'}",
        "MEASURING",
        _MOVER_TEST + "hands_may_go_through_the_beam_where_nothing_is_measured",
    ),
    change(
        _MOVER,
        "Mover._watch_flicker",
        "self._state == 'placing' and self._machine.is_moving",
        "self._state == 'placing'",
        _MOVER_TEST + "hands_may_go_through_the_beam_where_nothing_is_measured",
    ),
    never(
        _MOVER,
        "Mover._watch_flicker",
        "self._state == 'placing' and self._machine.is_moving",
        _MOVER_TEST + "in_placing_the_beam_counts_while_something_moves",
    ),
    without(
        _MOVER,
        "Mover._watch_flicker",
        "self._beam_edges.clear()",
        _MOVER_TEST + "edges_of_the_previous_run_are_forgotten",
    ),
    without(
        _MOVER,
        "Mover.next_event",
        "self._check()",
        _MOVER_TEST + "a_condition_that_is_met_already_is_noticed_before_the_wait",
        nth=1,
    ),
    without(
        _MOVER,
        "Mover.next_event",
        "self._check()",
        _MOVER_TEST + "a_condition_that_comes_with_an_event_is_noticed_with_it",
        nth=2,
    ),
    never(
        _MOVER,
        "Mover.next_event",
        "isinstance(item, StopRequest)",
        _MOVER_TEST + "a_request_and_a_button_stop_it",
    ),
    never(
        _MOVER,
        "Mover.next_event",
        "isinstance(item, Done) and item.error is not None",
        _MOVER_TEST + "what_a_watching_task_raised_ends_it",
    ),
    without(
        _MOVER,
        "Mover._check",
        "machine.beat()",
        _MOVER_TEST + "it_shows_signs_of_life_while_it_waits_and_while_it_moves",
    ),
    without(
        _MOVER,
        "Mover._check",
        "machine.host.look()",
        _MOVER_TEST + "the_computer_is_asked_while_it_waits",
    ),
    without(
        _MOVER,
        "Mover._check",
        "check_interlocks(machine, self._state)",
        _MOVER_TEST + "a_condition_is_noticed_within_50_ms",
    ),
    never(
        _MOVER,
        "Mover._check",
        "machine.inputs.stop_pressed",
        _MOVER_TEST + "a_level_counts_though_its_edge_is_lost",
    ),
    never(
        _MOVER,
        "Mover._note_edge",
        "name == 'stop_button' and edge.active",
        _MOVER_TEST + "an_edge_counts_though_its_level_is_over",
    ),
    never(
        _MOVER,
        "Mover._note_edge",
        "name == 'emergency_stop' and edge.active",
        _MOVER_TEST + "an_edge_counts_though_its_level_is_over",
    ),
    never(
        _MOVER,
        "Mover.move",
        "machine.latched is not None",
        _MOVER_TEST + "nothing_moves_while_a_fault_is_latched",
    ),
    without(
        _MOVER,
        "Mover.move",
        "self._check()",
        _MOVER_TEST + "a_level_that_is_there_already_stops_a_move_before_its_driver_is_on",
    ),
    swapped(
        _MOVER,
        "Mover.move",
        "self._check()",
        "stepper.enable()",
        _MOVER_TEST + "a_level_that_is_there_already_stops_a_move_before_its_driver_is_on",
    ),
    without(
        _MOVER,
        "Mover.move",
        "machine.progress.begin()",
        _MOVER_TEST + "each_move_is_followed_from_its_begin",
    ),
    without(
        _MOVER,
        "Mover.move",
        "machine.host.mark()",
        _MOVER_TEST + "a_clock_that_was_set_counts_in_a_move_only",
    ),
    never(
        _MOVER,
        "Mover.move",
        "now > deadline",
        _MOVER_TEST + "a_move_that_is_not_over_at_its_deadline_is_cut",
    ),
    change(
        _MOVER,
        "Mover.move",
        "plan.time_limit_s",
        "2.0 * plan.time_limit_s",
        _MOVER_TEST + "a_move_that_is_not_over_at_its_deadline_is_cut",
    ),
    change(
        _MOVER,
        "Mover.move",
        "stepper.request_stop('brake')",
        "stepper.request_stop('cut')",
        _BRAKE_STOPS,
    ),
    without(_MOVER, "Mover.move", "yield from self._come_to_rest(handle, axis)", _BRAKE_STOPS),
    without(
        _MOVER,
        "Mover.move",
        "stepper.request_stop('cut')",
        _MOVER_TEST + "a_fault_cuts_the_pulses_and_ends_their_task",
    ),
    without(
        _MOVER,
        "Mover.move",
        "handle.cancel()",
        _MOVER_TEST + "a_fault_cuts_the_pulses_and_ends_their_task",
    ),
    without(
        _MOVER,
        "Mover.move",
        "self._look_at_end(handle.result())",
        _MOVER_TEST + "what_the_pulse_loop_ended_is_a_fault_though_its_reason_is_gone",
    ),
    never(
        _MOVER,
        "Mover._look_at_end",
        "result is not None and result.ended_by == 'must_stop' and cause is not None",
        _MOVER_TEST + "what_the_pulse_loop_ended_is_a_fault_though_its_reason_is_gone",
    ),
    change(
        _MOVER,
        "Mover._look_at_end",
        "result.ended_by == 'must_stop'",
        "True",
        _MOVER_TEST + "a_completed_move_ignores_an_old_reason_of_a_cut",
    ),
    without(
        _MOVER,
        "Mover._come_to_rest",
        "machine.beat()",
        _MOVER_TEST + "while_it_brakes_it_shows_signs_of_life",
    ),
    without(
        _MOVER,
        "Mover._come_to_rest",
        "check_interlocks(machine, self._state)",
        _MOVER_TEST + "a_condition_that_is_met_while_it_brakes_cuts_the_pulses",
    ),
    without(
        _MOVER,
        "Mover._come_to_rest",
        "machine.events.put(wish)",
        _MOVER_TEST + "a_stop_request_during_braking_is_kept",
    ),
    without(
        _MOVER,
        "Mover._note_steps",
        "machine.progress.look(...)",
        _MOVER_TEST + "a_board_that_does_not_follow_its_steps_stops_the_move",
    ),
    never(
        _MOVER,
        "Mover._note_steps",
        "axis is not None",
        _MOVER_TEST + "the_blades_steps_are_not_the_boards",
    ),
    without(
        _MOVER,
        "Mover.move",
        "self._note_steps(axis)",
        _MOVER_TEST + "the_last_steps_are_written_though_the_control_loop_was_busy",
        nth=2,
    ),
    # -- homing -------------------------------------------------------------------------------
    *(
        limit(
            _HOMING,
            "SLOW_FACTOR",
            _HOMING_TEST
            + "the_second_touch_is_slow_and_after_an_interruption_all_of_it_is[False-1.0]",
            times=times,
        )
        for times in (4.0, 0.5)
    ),
    limit(
        _HOMING,
        "CAREFUL_FACTOR",
        _HOMING_TEST + "the_second_touch_is_slow_and_after_an_interruption_all_of_it_is[True-0.5]",
    ),
    change(
        _HOMING,
        "home",
        "rate * SLOW_FACTOR",
        "rate",
        _HOMING_TEST + "the_second_touch_is_slow_and_after_an_interruption_all_of_it_is",
    ),
    swapped(
        _HOMING,
        "home",
        "yield from _approach(mover, machine, rate)",
        "yield from _approach(mover, machine, rate * SLOW_FACTOR)",
        _HOMING_TEST + "the_second_touch_is_slow_and_after_an_interruption_all_of_it_is",
    ),
    never(
        _HOMING,
        "_rate_deg_s",
        "machine.homes_slowly",
        _HOMING_TEST + "the_second_touch_is_slow_and_after_an_interruption_all_of_it_is",
    ),
    always(
        _HOMING,
        "_rate_deg_s",
        "machine.homes_slowly",
        _HOMING_TEST + "the_second_touch_is_slow_and_after_an_interruption_all_of_it_is",
    ),
    change(
        _HOMING,
        "_retreat",
        "_rate_deg_s(machine)",
        "machine.settings.motion.homing_rate_deg_s",
        _HOMING_TEST + "the_second_touch_is_slow_and_after_an_interruption_all_of_it_is",
    ),
    without(
        _HOMING,
        "home",
        "machine.homes_slowly = False",
        _HOMING_TEST + "the_second_touch_is_slow_and_after_an_interruption_all_of_it_is",
    ),
    without(
        _HOMING,
        "home",
        "stepper.count = 0",
        _HOMING_TEST + "count_0_is_where_the_switch_opens_and_the_retreat_is_half_a_degree",
    ),
    without(
        _HOMING,
        "home",
        "machine.is_homed = True",
        _HOMING_TEST + "the_second_touch_is_slow_and_after_an_interruption_all_of_it_is",
    ),
    always(
        _HOMING,
        "home",
        "not machine.is_homed",
        _HOMING_TEST + "a_count_that_is_known_is_kept",
    ),
    limit(
        _HOMING,
        "RETREAT_DEG",
        _HOMING_TEST + "count_0_is_where_the_switch_opens_and_the_retreat_is_half_a_degree",
    ),
    limit(
        _HOMING,
        "RETREAT_DEG",
        _HOMING_TEST + "count_0_is_where_the_switch_opens_and_the_retreat_is_half_a_degree",
        times=0.5,
    ),
    limit(
        _HOMING,
        "OVERRUN_DEG",
        _HOMING_TEST + "a_switch_that_is_not_found_is_given_up_3_deg_below_home",
        _HOMING_TEST + "a_switch_that_never_lets_go_is_given_up_after_3_deg",
    ),
    change(
        _HOMING,
        "_approach",
        "machine.settings.linkage.home_angle_deg - OVERRUN_DEG",
        "-OVERRUN_DEG",
        _HOMING_TEST + "a_switch_that_is_not_found_is_given_up_3_deg_below_home",
    ),
    never(
        _HOMING,
        "_approach",
        "not inputs.limit_lower_reached",
        _HOMING_TEST + "a_switch_that_is_not_found_is_given_up_3_deg_below_home",
    ),
    never(
        _HOMING,
        "_retreat",
        "inputs.limit_lower_reached",
        _HOMING_TEST + "a_switch_that_never_lets_go_is_given_up_after_3_deg",
        nth=4,
    ),
    without(
        _HOMING,
        "_travel",
        "machine.stepper.request_stop('cut')",
        _HOMING_TEST + "count_0_is_where_the_switch_opens_and_the_retreat_is_half_a_degree",
    ),
    change(
        _HOMING,
        "_first_idea_deg",
        "linkage.home_angle_deg if at_home else linkage.soft_limit_deg",
        "linkage.home_angle_deg",
        _HOMING_TEST + "without_a_calibration_a_board_on_its_way_counts_as_being_as_high_as_it_may",
    ),
    change(
        _HOMING,
        "_first_idea_deg",
        "linkage.home_angle_deg if at_home else linkage.soft_limit_deg",
        "linkage.soft_limit_deg",
        _HOMING_TEST + "without_a_calibration_a_board_on_its_switch_is_at_home",
    ),
]
