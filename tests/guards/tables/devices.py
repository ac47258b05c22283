"""Guards of the devices."""

from tests.guards.entry import Guard, always, change, inverted, limit, never, swapped, without

_TESTS = "tests/devices/test_"

_BUS = "rig.devices.bus"
_IN_BUS = _TESTS + "bus.py::"
_RETRIED = _IN_BUS + "test_failures_that_pass_are_repeated_counted_and_waited_for"
_ONCE = _IN_BUS + "test_a_write_that_does_something_each_time_is_tried_once"
_REOPENED = _IN_BUS + "test_a_node_that_is_opened_again_was_closed_before"
_OPENED = _IN_BUS + "test_opening_twice_opens_one_node_and_closing_closes_it"
_ASKED = _IN_BUS + "test_a_chip_is_asked_three_times_whether_it_is_there"
_SCANNED = _IN_BUS + "test_scan_finds_the_chips_at_every_address_that_is_not_reserved"
_ALONE = _IN_BUS + "test_no_thread_gets_into_a_transfer_of_another"
_NOT_OPENED = _IN_BUS + "test_a_bus_that_cannot_be_opened_is_told_in_one_sentence"

BUS: list[Guard] = [
    change(
        _BUS,
        "PAUSES_S",
        "(0.002, 0.005, 0.010, 0.010)",
        "(0.002, 0.005)",
        _IN_BUS + "test_a_chip_that_stays_silent_is_a_fault",
    ),
    change(_BUS, "PAUSES_S", "(0.002, 0.005, 0.010, 0.010)", "(2.0, 5.0, 10.0, 10.0)", _RETRIED),
    limit(
        _BUS, "MAX_BLOCK", _TESTS + "bus_view.py::test_long_reads_are_cut_to_what_the_bus_carries"
    ),
    *(
        change(_BUS, "_PASSING", f"errno.{name}", "errno.EINVAL", f"{_RETRIED}[{name}]")
        for name in ("EREMOTEIO", "ETIMEDOUT", "EIO", "ENXIO", "ENODEV", "EBUSY")
    ),
    never(
        _BUS,
        "Bus._transfer",
        "error.errno not in _PASSING",
        _IN_BUS + "test_a_failure_that_cannot_pass_is_not_repeated",
    ),
    always(_BUS, "Bus._transfer", "repeatable", _ONCE),
    change(_BUS, "Bus.write", "repeatable", "True", _ONCE),
    without(_BUS, "Bus._transfer", "self.retries += 1", _RETRIED),
    without(_BUS, "Bus._transfer", "self._reopen()", _REOPENED),
    without(_BUS, "Bus._reopen", "self._node.close()", _REOPENED),
    without(
        _BUS,
        "Bus._reopen",
        "self.reopened += 1",
        _IN_BUS + "test_five_failures_in_a_row_reopen_the_node",
    ),
    change(_BUS, "Bus._reopen", "OSError", "KeyError", _REOPENED),
    change(
        _BUS,
        "Bus._reopen",
        "BadInputError",
        "KeyError",
        _IN_BUS + "test_a_node_that_does_not_come_back_is_a_fault",
    ),
    always(_BUS, "Bus.open", "self._node is None", _OPENED),
    without(_BUS, "Bus.close", "node.close()", _OPENED),
    without(_BUS, "Bus.__exit__", "self.close()", _OPENED),
    never(_BUS, "Bus._live", "self._node is None", _OPENED),
    change(
        _BUS,
        "Bus.__init__",
        "threading.RLock()",
        "__import__('contextlib').nullcontext()",
        _ALONE,
    ),
    *(
        change(
            _BUS,
            f"Bus.{place}",
            f"with self._lock:\n    {inside}",
            inside,
            f"{_ALONE}[{second}]",
            nth=nth,
        )
        for place, inside, second, nth in (
            ("_transfer", "return use(self._live())", "read", 1),
            ("_transfer", "return use(self._live())", "write once", 2),
            ("answers", "self._live().read_byte(address)", "answers", None),
            ("scan", "self._live().read_byte(address)", "scan", None),
        )
    ),
    change(_BUS, "Bus.answers", "PAUSES_S[:2]", "PAUSES_S[:1]", _ASKED),
    change(_BUS, "Bus.answers", "PAUSES_S[:2]", "PAUSES_S[:3]", _ASKED),
    change(_BUS, "Bus.scan", "0x08", "0x00", _SCANNED),
    change(_BUS, "Bus.scan", "0x78", "0x77", _SCANNED),
    never(
        _BUS,
        "Bus.identify",
        "not self.answers(address)",
        _IN_BUS + "test_absent_chip_is_told_with_what_is_there",
    ),
    never(
        _BUS,
        "Bus.identify",
        "identity not in known",
        _IN_BUS + "test_wrong_chip_is_told_with_what_it_says",
    ),
    *(
        change(_BUS, "Bus._opened", error, "KeyError", _NOT_OPENED)
        for error in ("FileNotFoundError", "PermissionError", "OSError")
    ),
    change(
        _BUS,
        "real_bus",
        "ImportError",
        "KeyError",
        _IN_BUS + "test_a_machine_without_the_package_is_told_of_the_twin",
    ),
]

_VIEW = "rig.devices.bus_view"
_IN_VIEW = _TESTS + "bus_view.py::"
_LATE = _IN_VIEW + "test_no_transfer_begins_after_the_deadline"
_OWN = _IN_VIEW + "test_each_piece_of_work_has_transfers_and_time_of_its_own"
_LONG = _IN_VIEW + "test_long_reads_are_cut_to_what_the_bus_carries"

VIEW: list[Guard] = [
    limit(_VIEW, "MAX_TRANSFERS", _IN_VIEW + "test_the_wait_also_ends_when_time_stands_still"),
    limit(
        _VIEW,
        "MAX_TRANSFERS",
        _IN_VIEW + "test_the_wait_also_ends_when_time_stands_still",
        times=0.5,
    ),
    never(_VIEW, "BusView._count", "self._clock.time_s() > self._deadline_s", _LATE),
    change(_VIEW, "BusView.within", "seconds", "1000 * seconds", _LATE),
    without(_VIEW, "BusView.writeto", "self._count(address)", _LATE),
    without(_VIEW, "BusView.readfrom_into", "self._count(address)", _LATE),
    without(_VIEW, "BusView.within", "self._left = MAX_TRANSFERS", _OWN, nth=1),
    without(_VIEW, "BusView.within", "self._left = MAX_TRANSFERS", _OWN, nth=2),
    without(_VIEW, "BusView.within", 'self._deadline_s = float("inf")', _OWN),
    always(
        _VIEW,
        "BusView.writeto",
        "register not in self._once_only",
        _IN_VIEW + "test_a_reset_is_not_repeated",
    ),
    never(
        _VIEW,
        "BusView.writeto",
        "not self._bus.answers(address)",
        _IN_VIEW + "test_asking_an_absent_chip_raises_as_the_driver_expects",
    ),
    change(
        _VIEW,
        "BusView.writeto",
        "data[0] + offset",
        "data[0]",
        _IN_VIEW + "test_several_registers_are_written_each_at_its_place",
    ),
    change(
        _VIEW,
        "BusView.readfrom_into",
        "self._register + first - start",
        "self._register + first",
        _IN_VIEW + "test_a_register_read_is_one_transfer",
    ),
    change(
        _VIEW,
        "BusView.readfrom_into",
        "self._register + first - start",
        "self._register",
        _LONG,
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

_CLIMATE = "rig.devices.climate"
_IN_CLIMATE = _TESTS + "climate.py::"
_RANGED = _IN_CLIMATE + "test_the_ranges_of_the_data_sheet_are_kept_from_both_sides"
_SECOND = _IN_CLIMATE + "test_a_reading_that_takes_a_second_is_given_up"
_ASLEEP = _IN_CLIMATE + "test_a_chip_that_fell_asleep_is_set_up_again"
_CHANNELS = _IN_CLIMATE + "test_channels_that_were_not_measured_are_left_out"
_COOL = _IN_CLIMATE + "test_measures_with_pauses_so_that_it_stays_cool"
_BLANK = _IN_CLIMATE + "test_one_blank_constant_is_enough"
_READ = "ClimateSensor.read"

CLIMATE: list[Guard] = [
    limit(_CLIMATE, "NORMAL_MODE", _IN_CLIMATE + "test_a_reading_takes_little_of_the_bus"),
    limit(_CLIMATE, "WORK_S", _SECOND),
    limit(_CLIMATE, "WORK_S", _SECOND, times=0.5),
    *(
        change(_CLIMATE, "RANGES", f"{old}", f"{old} - {by}", _RANGED)
        for old in ("-40.0", "85.0", "300.0", "1100.0")
        for by in (2, -2)
    ),
    never(_CLIMATE, _READ, "not low <= temperature_c <= high", _RANGED),
    never(_CLIMATE, _READ, "not low <= pressure_hpa <= high", _RANGED),
    never(
        _CLIMATE,
        _READ,
        "humidity_pct in (0.0, 100.0)",
        _IN_CLIMATE + "test_an_end_of_the_humidity_range_is_doubted",
    ),
    never(_CLIMATE, _READ, "raw_humidity == SKIPPED_16_BIT", _CHANNELS),
    never(_CLIMATE, _READ, "raw_pressure == SKIPPED_20_BIT", _CHANNELS),
    never(
        _CLIMATE,
        _READ,
        "raw_temperature == SKIPPED_20_BIT",
        _IN_CLIMATE + "test_temperature_that_was_not_measured_spoils_the_rest",
    ),
    never(
        _CLIMATE,
        _READ,
        "self._bus.read(self._address, CTRL_MEAS)[0] & 0x03 != NORMAL_MODE",
        _ASLEEP,
    ),
    without(_CLIMATE, _READ, "self.restarts += 1", _ASLEEP),
    without(_CLIMATE, _READ, "self._set_up()", _ASLEEP),
    never(
        _CLIMATE,
        _READ,
        "self._driver is None",
        _IN_CLIMATE + "test_a_sensor_that_is_not_open_is_not_read",
    ),
    without(
        _CLIMATE,
        "ClimateSensor.open",
        "self._check_identity()",
        _IN_CLIMATE + "test_bmp280_has_no_humidity",
    ),
    never(
        _CLIMATE,
        "ClimateSensor._check_identity",
        "self._bus.read(self._address, IDENTITY)[0] in BMP280",
        _IN_CLIMATE + "test_bmp280_has_no_humidity",
    ),
    without(_CLIMATE, "ClimateSensor.open", "self._check_trim()", _BLANK),
    *(
        change(_CLIMATE, "ClimateSensor._check_trim", "(0x0000, 0xFFFF)", f"({kept},)", _BLANK)
        for kept in ("0x0000", "0xFFFF")
    ),
    *(
        change(_CLIMATE, "ClimateSensor._check_trim", part, "b'12'", f"{_BLANK}[{name}-255]")
        for part, name in (("trim[0:2]", "T1"), ("trim[6:8]", "P1"), ("trim_h[0:2]", "H2"))
    ),
    change(
        _CLIMATE,
        "ClimateSensor.__init__",
        "(RESET,)",
        "()",
        _IN_CLIMATE + "test_the_reset_of_the_chip_is_sent_once_only",
    ),
    without(_CLIMATE, "ClimateSensor._set_up", "self._bus.write(...)", _COOL),
    change(
        _CLIMATE,
        "ClimateSensor._set_up",
        "(ValueError, RuntimeError)",
        "ValueError",
        _IN_CLIMATE + "test_a_chip_that_changes_while_it_is_set_up_is_a_fault",
    ),
    without(
        _CLIMATE,
        "ClimateSensor._set_up",
        "self._clock.pause_s(...)",
        _IN_CLIMATE + "test_reads_the_air_as_it_is",
    ),
    without(
        _CLIMATE,
        "ClimateSensor.close",
        "self._bus.write(self._address, CTRL_MEAS, 0x00)",
        _IN_CLIMATE + "test_closing_puts_the_chip_to_sleep_even_when_it_is_gone",
    ),
    change(
        _CLIMATE,
        "ClimateSensor.close",
        "MachineFaultError",
        "KeyError",
        _IN_CLIMATE + "test_closing_puts_the_chip_to_sleep_even_when_it_is_gone",
    ),
    *(
        change(
            _CLIMATE,
            "_driver_module",
            error,
            "KeyError",
            f"{_IN_CLIMATE}test_a_driver_that_does_not_load_here_is_told[{error}]",
        )
        for error in ("ImportError", "RuntimeError")
    ),
]

_CHECKS = "rig.devices.imu_checks"
_IN_CHECKS = _TESTS + "imu_checks.py::"
_FROZEN = _IN_CHECKS + "test_the_same_again_and_again_is_frozen"
_ABSURD = _IN_CHECKS + "test_a_quarter_of_g_off_is_absurd"
_SATURATED = _IN_CHECKS + "test_saturation_either_way"

CHECKS: list[Guard] = [
    limit(_CHECKS, "SATURATED_COUNTS", _SATURATED),
    limit(_CHECKS, "SATURATED_COUNTS", _SATURATED, times=0.9999),
    change(_CHECKS, "is_saturated", "max(map(abs, sample))", "max(sample)", _SATURATED),
    limit(_CHECKS, "FROZEN_SAMPLES", _FROZEN),
    limit(_CHECKS, "FROZEN_SAMPLES", _FROZEN, times=0.5),
    always(_CHECKS, "is_frozen", "len(counts) >= samples", _FROZEN),
    change(_CHECKS, "is_frozen", "counts[-samples:]", "counts[:samples]", _FROZEN),
    change(_CHECKS, "is_norm_absurd", "0.25", "0.27", _ABSURD),
    change(_CHECKS, "is_norm_absurd", "0.25", "0.23", _ABSURD),
    change(
        _CHECKS, "is_norm_absurd", "abs(...)", "mean_norm_g(counts, counts_per_g) - 1.0", _ABSURD
    ),
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

ENTRIES: list[Guard] = [*BUS, *VIEW, *BUTTONS, *CLIMATE, *CHECKS, *INPUTS, *LAMP, *PINS]

NO_LIMITS: dict[str, str] = {}
