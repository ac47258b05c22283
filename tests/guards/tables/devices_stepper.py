"""Guards of the devices: the stepper and its train of pulses."""

from tests.guards.entry import Guard, change, inverted, limit, never, without

_TESTS = "tests/devices/test_"

_STEPPER = "rig.devices.stepper"
_IN_STEPPER = _TESTS + "stepper.py::"
_COUNTED = _IN_STEPPER + "test_a_pulse_counts_as_late_beyond_half_a_millisecond"
_BOUND = _IN_STEPPER + "test_the_bound_of_lateness_is_that_of_the_settings"
_CAUGHT_UP = _IN_STEPPER + "test_the_train_catches_up_at_one_and_a_half_times_its_rate"
_LATE_ONES = _IN_STEPPER + "test_late_pulses_are_counted_spread_out_and_caught_up"
_HOLDS = _IN_STEPPER + "test_the_driver_is_given_20_ms_to_hold_the_motor"
_TURNED = _IN_STEPPER + "test_the_direction_line_is_given_1_ms_before_the_plan_begins"
_DIRECTION = _IN_STEPPER + "test_the_direction_line_is_set_before_the_first_pulse"
_NOTICE = _IN_STEPPER + "test_a_brake_begins_20_ms_after_the_pulse_before_it_was_asked_for"
_URGENT = _IN_STEPPER + "test_the_pulse_thread_comes_before_others_where_that_is_permitted"
_CUT = _IN_STEPPER + "test_no_pulse_follows_a_cut"
_OFF_FIRST = _IN_STEPPER + "test_the_driver_is_off_from_opening_on_and_off_first_at_closing"
_MEDDLED = _IN_STEPPER + "test_a_move_needs_an_enabled_driver_and_no_other_move"
_ONE_MOVE = _IN_STEPPER + "test_a_stop_ends_one_move_and_not_the_next"
_FOLLOWS = _IN_STEPPER + "test_the_count_follows_the_direction_and_can_be_set"
_TAIL = _IN_STEPPER + "test_a_brake_goes_over_into_the_tail_of_the_plan"
_TOO_LATE = _IN_STEPPER + "test_a_pulse_that_is_too_late_stops_the_move_and_keeps_the_count"

ENTRIES: list[Guard] = [
    *(limit(_STEPPER, "LATE_S", _COUNTED, times=times) for times in (2, 0.5)),
    *(limit(_STEPPER, "CATCH_UP", _CAUGHT_UP, times=times) for times in (1.4, 0.5)),
    *(limit(_STEPPER, "SETTLE_S", _HOLDS, times=times) for times in (2, 0.5)),
    *(limit(_STEPPER, "SET_UP_S", _TURNED, times=times) for times in (2, 0.5)),
    *(limit(_STEPPER, "BRAKE_NOTICE_S", _NOTICE, times=times) for times in (2, 0.5)),
    limit(_STEPPER, "SWITCH_INTERVAL_S", _URGENT),
    limit(_STEPPER, "PRIORITY", _URGENT),
    change(_STEPPER, "Stepper.__init__", "late_pulse_ms * 1e-3", "late_pulse_ms", _BOUND),
    never(_STEPPER, "Stepper._train", "late_s > bound_s", _BOUND),
    without(_STEPPER, "Stepper._train", "late += 1", _COUNTED),
    never(_STEPPER, "Stepper._train", "late_s > self._worst_late_s", _LATE_ONES),
    never(_STEPPER, "Stepper._train", "late_s > worst_s", _COUNTED),
    change(
        _STEPPER,
        "Stepper.take_worst_late_us",
        "worst, self._worst_late_s = self._worst_late_s, 0.0",
        "worst = self._worst_late_s",
        _LATE_ONES,
    ),
    change(_STEPPER, "Stepper.take_worst_late_us", "1e6", "1e3", _LATE_ONES),
    change(
        _STEPPER,
        "Stepper.__init__",
        "screw.min_pulse_gap_us * 1e-6",
        "screw.min_pulse_gap_us * 1e-9",
        _IN_STEPPER + "test_pulses_never_come_closer_than_the_shortest_gap",
    ),
    change(
        _STEPPER,
        "Stepper._schedule",
        "np.maximum(...)",
        "np.diff(times_s, append=np.inf) * CATCH_UP",
        _IN_STEPPER + "test_pulses_never_come_closer_than_the_shortest_gap",
    ),
    change(
        _STEPPER,
        "Stepper._train",
        "due_s if due_s > earliest_s else earliest_s",
        "due_s",
        _CAUGHT_UP,
    ),
    never(_STEPPER, "Stepper._train", "self._cut", _CUT, nth=1),
    without(_STEPPER, "Stepper.request_stop", "self._cut = True", f"{_CUT}[cut]"),
    without(_STEPPER, "Stepper.disable", "self._cut = True", f"{_CUT}[disable]"),
    without(_STEPPER, "Stepper.close", "self._cut = True", f"{_CUT}[close]"),
    without(_STEPPER, "Stepper.disable", "self._devices[0].off()", f"{_CUT}[disable]"),
    without(_STEPPER, "Stepper.close", "devices[0].off()", _OFF_FIRST),
    change(
        _STEPPER,
        "Stepper.close",
        "reversed(devices)",
        "devices",
        _IN_STEPPER + "test_the_enable_line_is_let_go_of_last",
    ),
    change(
        _STEPPER,
        "Stepper.open",
        "(self._pins.enable, self._pins.direction, self._pins.step)",
        "(self._pins.step, self._pins.direction, self._pins.enable)",
        _OFF_FIRST,
    ),
    change(
        _STEPPER,
        "Stepper.open",
        "DigitalOutputDevice(number, pin_factory=self._factory)",
        "DigitalOutputDevice(number, active_high=False, pin_factory=self._factory)",
        _OFF_FIRST,
    ),
    without(
        _STEPPER,
        "Stepper.open",
        "self.close()",
        _IN_STEPPER + "test_a_pin_that_cannot_be_claimed_leaves_none_claimed",
    ),
    inverted(
        _STEPPER,
        "Stepper.move",
        "(plan.direction > 0) == self._pins.direction_raises_high",
        _DIRECTION,
    ),
    change(
        _STEPPER,
        "Stepper.move",
        "(plan.direction > 0) == self._pins.direction_raises_high",
        "plan.direction > 0",
        _DIRECTION,
    ),
    without(_STEPPER, "Stepper.move", "self._device(1).value = ...", _DIRECTION),
    change(_STEPPER, "Stepper._train", "count += direction", "count += 1", _FOLLOWS),
    without(_STEPPER, "Stepper._train", "self._latest = (now_s, count)", _FOLLOWS),
    never(_STEPPER, "Stepper.move", "not self.enabled", _MEDDLED),
    never(_STEPPER, "Stepper.move", "self._plan is not None", _MEDDLED),
    # The setter of the count, whose name is that of the property.
    never(_STEPPER, "Stepper", "self._plan is not None", _MEDDLED, nth=1),
    without(
        _STEPPER,
        "Stepper.move",
        "self._plan = None",
        _IN_STEPPER + "test_a_cancelled_move_keeps_the_count",
    ),
    change(
        _STEPPER,
        "Stepper.move",
        "self._cut = self._braking = False",
        "self._braking = False",
        f"{_ONE_MOVE}[cut]",
    ),
    change(
        _STEPPER,
        "Stepper.move",
        "self._cut = self._braking = False",
        "self._cut = False",
        f"{_ONE_MOVE}[brake]",
    ),
    change(
        _STEPPER,
        "Stepper.move",
        "self._tail, self._made = None, 0",
        "self._made = 0",
        _IN_STEPPER + "test_a_brake_that_never_came_to_be_is_forgotten",
    ),
    never(_STEPPER, "Stepper.request_stop", "self._braking", _TAIL, nth=1),
    never(
        _STEPPER,
        "Stepper._train",
        "made > begin",
        _IN_STEPPER + "test_a_tail_that_comes_too_late_is_worked_out_again",
    ),
    change(
        _STEPPER,
        "Stepper.move",
        "QuietCollector()",
        "__import__('contextlib').nullcontext()",
        _IN_STEPPER + "test_the_collector_rests_during_a_move",
    ),
    change(
        _STEPPER,
        "Stepper.move",
        "_urgent(self._clock)",
        "__import__('contextlib').nullcontext()",
        _URGENT,
    ),
    without(_STEPPER, "_urgent", "_set_policy(usual)", f"{_URGENT}[True]"),
    without(_STEPPER, "_urgent", "sys.setswitchinterval(interval_s)", _URGENT),
    change(_STEPPER, "_set_policy", "PermissionError", "KeyError", f"{_URGENT}[False]"),
    never(
        _STEPPER,
        "Stepper._device",
        "not self._devices",
        _IN_STEPPER + "test_constructing_touches_no_pin",
    ),
]
