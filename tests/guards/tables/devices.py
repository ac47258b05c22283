"""Guards of the devices: pins, inputs, buttons, lamp."""

from tests.guards.entry import Guard, always, change, inverted, limit, never, without

_TESTS = "tests/devices/test_"

_PINS = "rig.devices.pins"
_IN_PINS = _TESTS + "pins.py::"
_BY_LABEL = _IN_PINS + "test_the_header_is_found_by_its_label"
_KERNEL = _IN_PINS + "test_the_label_is_asked_from_the_kernel"
_NO_PIPE = _IN_PINS + "test_lgpio_leaves_no_pipe_in_the_working_folder"

PINS: list[Guard] = [
    limit(_PINS, "_GET_CHIP_INFO", _KERNEL),
    *(
        change(_PINS, "HEADER_LABELS", f"'{label}'", "'other'", f"{_BY_LABEL}[{label}]")
        for label in ("pinctrl-rp1", "pinctrl-bcm2711", "pinctrl-bcm2835")
    ),
    always(_PINS, "header_chip", "label in HEADER_LABELS", _BY_LABEL),
    change(_PINS, "chip_label", "info[32:64]", "info[:32]", _KERNEL),
    change(
        _PINS,
        "header_chip",
        "PermissionError",
        "KeyError",
        _IN_PINS + "test_no_permission_names_the_group",
    ),
    change(
        _PINS,
        "header_chip",
        "OSError",
        "KeyError",
        _IN_PINS + "test_what_is_no_gpio_chip_is_passed_by",
    ),
    change(
        _PINS,
        "header_chip",
        "refused = node",
        "refused = node\nbreak",
        _IN_PINS + "test_a_chip_that_may_not_be_used_hides_none_that_may",
    ),
    without(_PINS, "chip_label", "os.close(handle)", _KERNEL),
    change(
        _PINS,
        "real_factory",
        "LGPIOFactory(chip=chip)",
        "LGPIOFactory(chip=0)",
        _IN_PINS + "test_the_factory_is_made_on_that_chip",
    ),
    change(
        _PINS,
        "real_factory",
        "ImportError",
        "KeyError",
        _IN_PINS + "test_a_missing_lgpio_names_the_extra",
    ),
    change(
        _PINS,
        "real_factory",
        "Exception",
        "KeyError",
        _IN_PINS + "test_a_chip_that_does_not_open_is_told",
    ),
    without(_PINS, "_quiet_folder", "os.chdir(before)", _NO_PIPE),
    always(_PINS, "_quiet_folder", "Path(own).is_absolute()", _NO_PIPE),
]

_INPUTS = "rig.devices.inputs"
_IN_INPUTS = _TESTS + "inputs.py::"
_WIRED = _IN_INPUTS + "test_each_input_has_its_pin_and_its_polarity"
_STAMPED = _IN_INPUTS + "test_the_pins_own_stamp_is_kept_unless_it_is_of_another_clock"
_SAME = _IN_INPUTS + "test_the_clock_of_the_stamps_is_known_by_its_time"
_PLAIN = _IN_INPUTS + "test_no_input_is_debounced_and_each_has_a_pull_up"
_CALLBACK = _IN_INPUTS + "test_a_callback_never_raises"

INPUTS: list[Guard] = [
    limit(_INPUTS, "SAME_CLOCK_S", _STAMPED),
    limit(_INPUTS, "SAME_CLOCK_S", _SAME, times=0.5),
    limit(_INPUTS, "OLDEST_STAMP_S", _STAMPED),
    limit(_INPUTS, "OLDEST_STAMP_S", _STAMPED, times=0.5),
    never(_INPUTS, "Inputs.take", "not -SAME_CLOCK_S <= now_s - t_s <= OLDEST_STAMP_S", _STAMPED),
    without(_INPUTS, "Inputs.take", "self.bad_stamps += 1", _STAMPED),
    always(_INPUTS, "Inputs.take", "self._same_clock", _SAME),
    change(
        _INPUTS,
        "Inputs.open",
        "abs(...)",
        "self._clock.time_s() - self._factory.ticks()",
        _SAME,
    ),
    *(
        change(_INPUTS, "Inputs._wiring", high, f"not {high}", f"{_WIRED}[{name}]", nth=nth)
        for name, high, nth in (
            ("emergency_stop", "True", 1),
            ("limit_lower", "True", 2),
            ("limit_upper", "True", 3),
            ("blade_park", "True", 4),
            ("start_button", "False", 1),
            ("stop_button", "False", 2),
            ("beam_1", "pins.beam_broken_is_high", 1),
            ("beam_2", "pins.beam_broken_is_high", 2),
        )
    ),
    *(
        change(
            _INPUTS,
            "Inputs._wiring",
            "pins.beam_broken_is_high",
            "True",
            _IN_INPUTS + "test_the_receiver_may_work_the_other_way_round",
            nth=nth,
        )
        for nth in (1, 2)
    ),
    *(
        change(_INPUTS, f"Inputs.{place}", f"'{name}'", f"'{other}'", _WIRED)
        for place, name, other in (
            ("emergency_stop_pressed", "emergency_stop", "stop_button"),
            ("limit_lower_reached", "limit_lower", "limit_upper"),
            ("limit_upper_reached", "limit_upper", "limit_lower"),
            ("start_pressed", "start_button", "stop_button"),
            ("stop_pressed", "stop_button", "start_button"),
            ("blade_parked", "blade_park", "limit_lower"),
        )
    ),
    inverted(_INPUTS, "_Watch.active", "bool(self.pin.state) == self._active_high", _WIRED),
    inverted(_INPUTS, "_Watch.changed", "bool(state) == self._active_high", _WIRED),
    change(_INPUTS, "_Watch.changed", "Exception", "KeyError", _CALLBACK),
    without(_INPUTS, "_Watch.changed", "self._inputs.failed_callbacks += 1", _CALLBACK),
    change(_INPUTS, "Inputs.open", "True", "False", _PLAIN),
    change(
        _INPUTS,
        "Inputs.open",
        "watch.pin.edges = 'both'",
        "watch.pin.edges = 'both'\nwatch.pin.bounce = 0.02",
        _PLAIN,
    ),
    change(_INPUTS, "Inputs.open", "'both'", "'rising'", _PLAIN),
    without(
        _INPUTS,
        "Inputs.open",
        "self.close()",
        _IN_INPUTS + "test_a_pin_that_is_in_use_is_told",
    ),
    inverted(
        _INPUTS,
        "Inputs.has_park_switch",
        "self._pins.blade_park is not None",
        _IN_INPUTS + "test_a_park_switch_is_there_only_where_it_is_wired",
    ),
]

_BUTTONS = "rig.devices.buttons"
_IN_BUTTONS = _TESTS + "buttons.py::"
_PRESS = "PushButton.update"

BUTTONS: list[Guard] = [
    limit(_BUTTONS, "DEBOUNCE_S", _IN_BUTTONS + "test_a_press_counts_once_after_it_has_been_held"),
    limit(
        _BUTTONS,
        "DEBOUNCE_S",
        _IN_BUTTONS + "test_a_press_counts_once_after_it_has_been_held",
        times=0.5,
    ),
    change(
        _BUTTONS,
        "PushButton.__init__",
        "False",
        "True",
        _IN_BUTTONS + "test_a_button_held_at_boot_starts_nothing",
    ),
    always(
        _BUTTONS,
        _PRESS,
        "held_s >= self._debounce_s",
        _IN_BUTTONS + "test_a_bounce_on_letting_go_of_a_button_held_at_boot_starts_nothing",
    ),
    always(
        _BUTTONS,
        _PRESS,
        "self._level is False",
        _IN_BUTTONS + "test_a_bounce_on_letting_go_of_a_button_held_at_boot_starts_nothing",
    ),
    never(
        _BUTTONS,
        _PRESS,
        "t_s - self._since_s < self._debounce_s",
        _IN_BUTTONS + "test_a_spike_counts_for_nothing",
    ),
    change(
        _BUTTONS,
        _PRESS,
        "was_armed, self._armed = self._armed, False",
        "was_armed = self._armed",
        _IN_BUTTONS + "test_a_press_counts_once_after_it_has_been_held",
    ),
    without(
        _BUTTONS,
        _PRESS,
        "self._armed = True",
        _IN_BUTTONS + "test_edges_alone_do_as_well_as_polling",
        nth=1,
    ),
]

_LAMP = "rig.devices.lamp"
_IN_LAMP = _TESTS + "lamp.py::"
_LOOKS = _IN_LAMP + "test_each_state_looks_as_the_readme_says"
_BEEPS = _IN_LAMP + "test_only_what_wants_a_person_beeps"
_DARK = _IN_LAMP + "test_closing_goes_dark_even_if_the_task_still_shows_something"

LAMP: list[Guard] = [
    limit(_LAMP, "BEEP_S", _IN_LAMP + "test_the_buzzer_calls_once"),
    limit(_LAMP, "BEEP_S", _IN_LAMP + "test_the_buzzer_calls_once", times=0.5),
    *(
        change(_LAMP, "PATTERNS", f"Pattern({old})", f"Pattern({new})", f"{_LOOKS}[{row}]", nth=nth)
        for old, new, row, nth in (
            ("'g'", "'r'", "parked-g-None", None),
            ("'rg', 0.5, 0.5", "'rg', 0.2, 0.2", "homing-rg-10", None),
            ("'g', 0.5, 0.5, beep=True", "'g', 0.2, 0.2, beep=True", "placing-g-10", None),
            ("'b'", "'g'", "dwelling-b-None", None),
            ("'b', 0.2, 0.2", "'b'", "raising-b-4", None),
            ("'rgb'", "'rg'", "sliding-rgb-None", None),
            ("'rg', 0.2, 0.2", "'rg', 0.2, 0.5", "lowering-rg-4", None),
            ("'r', 0.2, 0.2, beep=True", "'g', 0.2, 0.2, beep=True", "halted-r-4", None),
        )
    ),
    change(_LAMP, "PATTERNS", "True", "False", _BEEPS, nth=1),
    change(_LAMP, "PATTERNS", "True", "False", _BEEPS, nth=2),
    without(
        _LAMP,
        "StateLamp.blink",
        'self._light("")',
        _IN_LAMP + "test_a_new_state_shows_at_once",
    ),
    without(_LAMP, "StateLamp.close", "line.off()", _DARK),
    without(
        _LAMP, "StateLamp.open", "self.close()", _IN_LAMP + "test_a_pin_that_is_in_use_is_told"
    ),
]

_MEMORY, _IN_MEMORY = "rig.devices.memory", "tests/devices/test_memory.py::"
_ASKED = _IN_MEMORY + "test_the_kernel_is_asked_for_pages_of_now_and_later_once_touched"
MEMORY: list[Guard] = [
    never(
        _MEMORY,
        "lock_memory",
        "limit != resource.RLIM_INFINITY",
        _IN_MEMORY + "test_a_limit_is_not_run_into",
    ),
    change(_MEMORY, "lock_memory", "MCL_CURRENT | MCL_FUTURE | MCL_ONFAULT", "MCL_CURRENT", _ASKED),
]

ENTRIES: list[Guard] = [*PINS, *INPUTS, *BUTTONS, *LAMP, *MEMORY]
