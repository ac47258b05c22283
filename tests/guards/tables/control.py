"""Guards of the machine as a whole: the pulse loop's stop, opening and closing, latch and reset."""

from tests.guards.entry import Guard, always, change, limit, never, swapped, without

_C = "rig.control."
_T = "tests/control/test_"
_MACHINE, _MACHINE_TEST = _C + "machine", _T + "machine.py::test_"
_HELD = _T + "suspended.py::test_"
_PULSES = _T + "pulse_loop.py::test_"
_RESET = _MACHINE_TEST + "a_reset_forgets_the_fault_and_what_led_to_it"

ENTRIES: list[Guard] = [
    # -- the pulse loop -----------------------------------------------------------------------
    change(
        "rig.devices.stepper",
        "Stepper._train",
        "self._cut or must_stop()",
        "self._cut",
        _PULSES + "not_one_step_edge_follows_the_level_of_the_emergency_stop",
    ),
    change(
        "rig.devices.stepper",
        "Stepper._train",
        "self._cut or must_stop()",
        "self._cut or (made % 2 and must_stop())",
        _PULSES + "not_one_step_edge_follows_the_level_of_the_emergency_stop",
    ),
    never(
        _MACHINE,
        "Machine._must_stop",
        "inputs.emergency_stop_pressed",
        _PULSES + "both_axes_look_at_the_emergency_stop_before_each_pulse",
    ),
    never(
        _MACHINE,
        "Machine._must_stop",
        "inputs.limit_upper_reached",
        _PULSES + "both_axes_look_at_the_upper_switch",
    ),
    change(
        _MACHINE,
        "Machine._must_stop",
        "inputs.limit_upper_reached",
        "inputs.limit_lower_reached",
        _PULSES + "both_axes_look_at_the_upper_switch",
        _PULSES + "with_signs_of_life_and_free_switches_a_move_goes_to_its_end",
    ),
    limit(
        _MACHINE,
        "CONTROL_SILENCE_S",
        _PULSES + "both_axes_end_2_s_after_the_control_loops_last_sign_of_life",
    ),
    limit(
        _MACHINE,
        "CONTROL_SILENCE_S",
        _PULSES + "both_axes_end_2_s_after_the_control_loops_last_sign_of_life",
        times=0.5,
    ),
    change(
        _MACHINE,
        "Machine._make_stepper",
        "self._must_stop",
        "lambda: False",
        _PULSES + "both_axes_look_at_the_emergency_stop_before_each_pulse[board]",
    ),
    change(
        _MACHINE,
        "Machine._make_blade",
        "self._must_stop",
        "lambda: False",
        _PULSES + "both_axes_look_at_the_emergency_stop_before_each_pulse[blade]",
    ),
    change(
        _MACHINE,
        "Machine._make_stepper",
        "settings.interlocks.late_pulse_ms",
        "20.0",
        _PULSES + "both_axes_take_the_settings_bound_of_a_late_pulse",
    ),
    change(
        _MACHINE,
        "Machine._make_blade",
        "settings.interlocks.late_pulse_ms",
        "20.0",
        _PULSES + "both_axes_take_the_settings_bound_of_a_late_pulse",
    ),
    # -- the machine --------------------------------------------------------------------------
    change(
        _MACHINE,
        "Machine.close",
        "devices[1:rest] + devices[: rest - 1 : -1] + devices[:1]",
        "devices[::-1]",
        _MACHINE_TEST + "the_motors_are_closed_first_and_all_others_backwards",
    ),
    change(
        _MACHINE,
        "Machine.close",
        "devices[1:rest] + devices[: rest - 1 : -1] + devices[:1]",
        "devices",
        _MACHINE_TEST + "the_motors_are_closed_first_and_all_others_backwards",
    ),
    change(
        _MACHINE,
        "Machine.close",
        "3 if self.has_blade else 2",
        "2",
        _MACHINE_TEST + "the_motors_are_closed_first_and_all_others_backwards",
    ),
    change(
        _MACHINE,
        "Machine.close",
        "first = first or error",
        "raise",
        _MACHINE_TEST + "a_device_that_fails_to_close_hinders_no_other_and_the_first_is_told",
    ),
    change(
        _MACHINE,
        "Machine.close",
        "first or error",
        "error",
        _MACHINE_TEST + "a_device_that_fails_to_close_hinders_no_other_and_the_first_is_told",
    ),
    never(
        _MACHINE,
        "Machine.close",
        "first is not None",
        _MACHINE_TEST + "a_device_that_fails_to_close_hinders_no_other_and_the_first_is_told",
    ),
    without(
        _MACHINE,
        "Machine.close",
        "self.lock.close()",
        _MACHINE_TEST + "the_motors_are_closed_first_and_all_others_backwards",
    ),
    without(
        _MACHINE,
        "Machine.__enter__",
        "self.close()",
        _MACHINE_TEST + "a_machine_that_cannot_be_opened_lets_everything_go",
    ),
    without(
        _MACHINE,
        "Machine.__exit__",
        "self.close()",
        _MACHINE_TEST + "the_motors_are_closed_first_and_all_others_backwards",
    ),
    without(
        _MACHINE,
        "Machine._open",
        "self.lock.open()",
        _MACHINE_TEST + "the_lock_is_taken_before_the_pins_are_made",
    ),
    swapped(
        _MACHINE,
        "Machine._open",
        "if self.lock is not None: ...",
        "factory = self.pin_factory = self._open_pins()",
        _MACHINE_TEST + "the_lock_is_taken_before_the_pins_are_made",
    ),
    without(
        _MACHINE,
        "Machine.motors_off",
        "self.stepper.disable()",
        _MACHINE_TEST + "both_drivers_are_switched_off",
    ),
    without(
        _MACHINE,
        "Machine.motors_off",
        "self.blade.disable()",
        _MACHINE_TEST + "both_drivers_are_switched_off",
    ),
    without(
        _MACHINE,
        "Machine.latch",
        "self.motors_off()",
        _MACHINE_TEST + "both_drivers_are_switched_off",
    ),
    without(
        _MACHINE,
        "Machine.latch",
        "self.is_homed = False",
        _MACHINE_TEST + "the_first_fault_is_kept_and_the_count_is_not_trusted_any_more",
    ),
    change(
        _MACHINE,
        "Machine.latch",
        "self.latched or fault",
        "fault",
        _MACHINE_TEST + "the_first_fault_is_kept_and_the_count_is_not_trusted_any_more",
    ),
    swapped(
        _MACHINE,
        "Machine.reset",
        "for device in (self.imu, self.climate): ...",
        "self.latched, self.homes_slowly = None, True",
        _MACHINE_TEST + "a_fault_stays_while_a_sensor_cannot_be_set_up",
    ),
    change(
        _MACHINE,
        "Machine.reset",
        "self.latched, self.homes_slowly = None, True",
        "self.latched = None",
        _RESET,
    ),
    without(_MACHINE, "Machine.reset", "for device in (self.imu, self.climate): ...", _RESET),
    without(
        _MACHINE,
        "Machine.reset",
        "self.begin_health()",
        _MACHINE_TEST + "a_reset_judges_the_sensor_by_new_samples",
    ),
    without(
        _MACHINE,
        "Machine.reset",
        "self.live.angle_deg = self.live.angle_seen_s = None",
        _RESET,
    ),
    without(_MACHINE, "Machine.reset", "self.opened_s = self.clock.time_s()", _RESET),
    without(
        _MACHINE,
        "Machine.reset",
        "self.doubtful_climates, self.last_run_reason = 0, None",
        _RESET,
    ),
    without(
        _MACHINE,
        "Machine.enter",
        "self.host.mark()",
        _MACHINE_TEST + "a_state_is_written_shown_and_marks_the_clocks",
    ),
    without(
        _MACHINE,
        "Machine.enter",
        "self.lamp.show(...)",
        _MACHINE_TEST + "a_state_is_written_shown_and_marks_the_clocks",
    ),
    *(
        limit(_MACHINE, "HELD_UP_S", _HELD + "half_a_second_is_nothing", times=times)
        for times in (1.2, 0.8)
    ),
    always(
        _MACHINE,
        "Machine.continued",
        "self.live.state in BY_CAUSE['suspended'].states",
        _HELD + "at_rest_nothing_was_missed",
    ),
    without(
        _MACHINE,
        "Machine.reset",
        "self.held_up_s = None",
        _HELD + "pulses_that_ended_meanwhile_and_sensors_that_failed_are_not_blamed",
    ),
    never(
        "rig.control.interlocks",
        "_suspended",
        "machine.held_up_s is not None",
        _HELD + "in_mid_work_it_is_a_fault_of_its_own",
    ),
    *(
        change(
            "rig.control.mover",
            place,
            old,
            new,
            _HELD + "pulses_that_ended_meanwhile_and_sensors_that_failed_are_not_blamed",
        )
        for place, old, new in (
            ("Mover.next_event", "held_up(machine) or item.error", "item.error"),
            (
                "Mover._look_at_end",
                "held_up(self._machine) or MachineFaultError(cause, CUT_BECAUSE[cause])",
                "MachineFaultError(cause, CUT_BECAUSE[cause])",
            ),
        )
    ),
    never(
        _MACHINE,
        "Machine.enter",
        "state == 'parked' and bool(self.comes_next)",
        "tests/procedures/test_runs.py::"
        "test_between_two_runs_the_lamp_and_the_words_say_what_comes",
    ),
    without(
        _MACHINE,
        "Machine.beat",
        "self.on_beat()",
        _MACHINE_TEST + "every_sign_of_life_is_passed_on",
    ),
    change(
        _MACHINE,
        "Machine.is_moving",
        "self.stepper.moving or (self.blade is not None and self.blade.moving)",
        "self.stepper.moving",
        _MACHINE_TEST + "it_moves_while_either_motor_does",
    ),
    change(
        _MACHINE,
        "Machine._make_blade",
        "pins.blade_uphill_is_high",
        "pins.direction_raises_high",
        _MACHINE_TEST + "the_blades_direction_is_its_own",
    ),
]

NO_LIMITS: dict[str, str] = {}
