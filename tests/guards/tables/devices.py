"""Guards of the devices."""

from tests.guards.entry import Guard, always, change, inverted, limit, never, without

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

_CLOCK = "rig.devices.sample_clock"
_IN_CLOCK = _TESTS + "sample_clock.py::"
_QUARTER = _IN_CLOCK + "test_an_edge_is_looked_for_once_in_each_quarter_of_a_second"
_SOUGHT = _IN_CLOCK + "test_an_edge_that_was_not_bounded_to_half_a_millisecond_is_sought_again"
_LEAD = _IN_CLOCK + "test_the_asking_begins_half_a_millisecond_before_the_next_sample"
_OLD = _IN_CLOCK + "test_what_is_older_than_24_blocks_is_forgotten"
_LATENESS = _IN_CLOCK + "test_lateness_widens_the_bounds_and_shifts_nothing"
_MADE = _IN_CLOCK + "test_how_many_samples_were_made_by_a_time"
_HALF_WAY = _IN_CLOCK + "test_a_period_beyond_the_tolerance_is_followed_half_way"
_WITHIN = _IN_CLOCK + "test_a_period_within_the_tolerance_is_followed"
_FIRST = (
    _IN_CLOCK + "test_before_anything_was_asked_the_first_sample_is_due_one_period_after_the_start"
)

SAMPLE_CLOCK: list[Guard] = [
    *(limit(_CLOCK, "BLOCK_S", _QUARTER, times=times) for times in (2, 0.5)),
    *(limit(_CLOCK, "BLOCKS", _OLD, times=times) for times in (2, 0.5)),
    *(limit(_CLOCK, "SHARP_S", _SOUGHT, times=times) for times in (2, 0.5)),
    *(limit(_CLOCK, "LEAD_S", _LEAD, times=times) for times in (2, 0.5)),
    change(_CLOCK, "SampleClock.__init__", "period_s * tolerance", "period_s", _HALF_WAY),
    change(_CLOCK, "SampleClock.__init__", "start_s + period_s", "start_s", _FIRST),
    *(
        change(_CLOCK, "SampleClock._fit_period", old, old + by, test)
        for old in ("self._stated_s - self._spread_s", "self._stated_s + self._spread_s")
        for by, test in (("- self._spread_s", _HALF_WAY), ("+ self._spread_s", _HALF_WAY))
    ),
    change(_CLOCK, "SampleClock._fit_period", "apart > 0.0", "apart > 1e9", _WITHIN),
    change(_CLOCK, "SampleClock._fit_period", "apart < 0.0", "apart < -1e9", _WITHIN),
    never(_CLOCK, "SampleClock.until_edge_s", "not self._upper", _FIRST),
    change(
        _CLOCK,
        "SampleClock.until_edge_s",
        "max(0.0, min(expected_s, self.period_s))",
        "max(0.0, expected_s)",
        _LEAD,
    ),
    change(
        _CLOCK,
        "SampleClock.until_edge_s",
        "max(0.0, min(expected_s, self.period_s))",
        "min(expected_s, self.period_s)",
        _LEAD,
    ),
    inverted(
        _CLOCK,
        "SampleClock.observe",
        "self._offset_by(upper) < self._offset_by(self._upper[-1])",
        _LATENESS,
    ),
    inverted(
        _CLOCK,
        "SampleClock.observe",
        "self._offset_by(lower) > self._offset_by(self._lower[-1])",
        _LATENESS,
    ),
    change(
        _CLOCK,
        "SampleClock.observe",
        "_Bound(made - 1, after_s)",
        "_Bound(made, after_s)",
        _LATENESS,
    ),
    change(
        _CLOCK,
        "SampleClock.observe",
        "_Bound(made, before_s)",
        "_Bound(made, after_s)",
        _LATENESS,
    ),
    change(
        _CLOCK,
        "SampleClock.made_by",
        "max(0, ...)",
        "int((time_s - self.time_of_s(0)) / self.period_s + 1)",
        _MADE,
    ),
]

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

STEPPER: list[Guard] = [
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

_LSM6 = "rig.devices.lsm6"
_IN_LSM6 = _TESTS + "lsm6.py::"
_ST = "tests/outside/test_imu.py::"
_KEPT = _IN_LSM6 + "test_each_control_register_is_read_back"
_BITS = _IN_LSM6 + "test_each_control_register_holds_what_the_data_sheet_asks_for"
_NOTICED = _IN_LSM6 + "test_a_change_of_any_control_register_is_noticed"
_SETTLED = _IN_LSM6 + "test_the_filter_settles_before_the_sensor_counts_as_open"
_RESET = _IN_LSM6 + "test_the_reset_has_20_ms"
_OVERRUN = _IN_LSM6 + "test_either_bit_of_an_overrun_counts"
_FIFO = _ST + "test_st_fifo_words_are_told_apart_by_their_tags"
_CORNERS = _IN_LSM6 + "test_each_corner_is_set_in_the_chip"
_RATE = _IN_LSM6 + "test_a_rate_that_the_trim_leaves_open_is_followed"
_RULED_OUT = _IN_LSM6 + "test_a_rate_that_the_data_sheet_rules_out_is_followed_half_way"
_CLOSED = _IN_LSM6 + "test_closing_puts_the_chip_to_sleep_even_when_it_is_gone"
_STOPPED = _IN_LSM6 + "test_a_chip_that_has_stopped_is_not_waited_for"
_ST_BYTES = _ST + "test_st_output_bytes_are_little_endian_at_0_061_mg"

LSM6: list[Guard] = [
    limit(_LSM6, "COUNTS_PER_G", _ST_BYTES, times=1.001),
    limit(_LSM6, "FIFO_OVERRUN", _OVERRUN),
    change(_LSM6, "FIFO_OVERRUN", "0x40", "0", f"{_OVERRUN}[64]"),
    change(_LSM6, "FIFO_OVERRUN", "0x08", "0", f"{_OVERRUN}[8]"),
    limit(_LSM6, "TAG_ACCELEROMETER", _FIFO),
    limit(_LSM6, "RATE_TOLERANCE", _RULED_OUT),
    limit(_LSM6, "RATE_TOLERANCE", _RATE, times=0.5),
    *(
        change(_LSM6, "KNOWN", who, other, _ST + "test_st_identities")
        for who, other in (("0x6C", "0x6B"), ("0x6B", "0x6C"))
    ),
    *(
        change(
            _LSM6,
            "RATES",
            divisor,
            f"2 * {divisor}",
            _IN_LSM6 + "test_true_rate_follows_the_factory_trim",
        )
        for divisor in ("64", "32", "16")
    ),
    change(
        _LSM6, "rate_hz", "0.0015", "0.015", _IN_LSM6 + "test_true_rate_follows_the_factory_trim"
    ),
    change(
        _LSM6, "Lsm6.open", "'b'", "'B'", f"{_IN_LSM6}test_every_sample_comes_once_with_its_time"
    ),
    *(
        change(_LSM6, "BANDWIDTHS", f"{n}", f"{n + 1}", f"{_CORNERS}[{divisor}]", nth=nth)
        for n, divisor, nth in (
            (0, 4, None),
            (1, 10, None),
            (2, 20, 2),
            (3, 45, None),
            (5, 200, None),
        )
    ),
    change(
        _LSM6,
        "bandwidth_divisor",
        "max(...)",
        "abs(rate / d - lowpass_hz)",
        _IN_LSM6 + "test_the_nearest_corner_is_taken",
    ),
    without(_LSM6, "Lsm6.open", "self._reset()", _RESET),
    without(_LSM6, "Lsm6.open", "self._compare(...)", _KEPT),
    without(_LSM6, "Lsm6.open", "self._clock.pause_s(...)", _SETTLED),
    change(_LSM6, "Lsm6.open", "20 / rate", "2 / rate", _SETTLED),
    change(_LSM6, "Lsm6.open", "4 * divisor / rate", "4 / rate", _SETTLED),
    change(_LSM6, "Lsm6.open", "0x44", "0x04", f"{_BITS}[18-68]"),
    change(_LSM6, "Lsm6.open", "0x44", "0x40", f"{_BITS}[18-68]"),
    change(_LSM6, "Lsm6.open", "0x08", "0x00", f"{_BITS}[19-8]"),
    change(_LSM6, "Lsm6.open", "0 if filter_code is None else 0x02", "0", f"{_BITS}[16-82]"),
    change(
        _LSM6,
        "Lsm6.start",
        "(FIFO_BYPASS, FIFO_CONTINUOUS)",
        "(FIFO_CONTINUOUS,)",
        _IN_LSM6 + "test_start_throws_old_samples_away",
    ),
    without(_LSM6, "Lsm6.start", "self._configuration[FIFO_CTRL4] = mode", _NOTICED),
    without(
        _LSM6,
        "Lsm6.start",
        "self.samples_lost = 0",
        _IN_LSM6 + "test_start_begins_a_new_count_of_lost_samples",
    ),
    never(_LSM6, "Lsm6._compare", "(found := controls[register - FIFO_CTRL1]) != value", _NOTICED),
    change(_LSM6, "Lsm6._reset", "False", "True", _IN_LSM6 + "test_the_reset_is_sent_once_only"),
    change(_LSM6, "Lsm6._reset", "20", "40", _RESET),
    change(_LSM6, "Lsm6._reset", "20", "19", _RESET),
    always(_LSM6, "Lsm6._reset", "not self._bus.read(self._address, CTRL3_C)[0] & 0x01", _RESET),
    without(
        _LSM6,
        "Lsm6._reset",
        "self._clock.pause_s(0.001)",
        _RESET,
    ),
    never(_LSM6, "Lsm6.read_batches", "overrun", _OVERRUN, nth=2),
    change(
        _LSM6,
        "Lsm6._skip_lost",
        "max(1, ...)",
        "self._samples.made_by(time_s) - level - self._made",
        _OVERRUN,
    ),
    without(
        _LSM6,
        "Lsm6._skip_lost",
        "self._count_from_now()",
        _IN_LSM6 + "test_an_overrun_is_counted_and_the_clock_goes_on",
    ),
    never(_LSM6, "Lsm6._in_runs", "tag >> 3 != TAG_ACCELEROMETER", _FIFO),
    without(_LSM6, "Lsm6._in_runs", "self.samples_lost += missing", _FIFO),
    without(_LSM6, "Lsm6._in_runs", "self._made += missing", _FIFO),
    change(_LSM6, "Lsm6._in_runs", "(slot - self._slot - 1) & 3", "0", _FIFO),
    change(_LSM6, "Lsm6._levels", "2 / self.setup.rate_hz", "20 / self.setup.rate_hz", _STOPPED),
    change(
        _LSM6,
        "Lsm6._level",
        "low | (high & 0x03) << 8",
        "low | high << 8",
        _IN_LSM6 + "test_flags_beside_the_level_are_not_part_of_it",
    ),
    change(
        _LSM6,
        "Lsm6._level",
        "low | (high & 0x03) << 8",
        "low",
        _IN_LSM6 + "test_an_overrun_is_counted_and_the_clock_goes_on",
    ),
    never(
        _LSM6,
        "Lsm6._poll",
        "not self._bus.read(self._address, STATUS_REG)[0] & 0x01",
        _IN_LSM6 + "test_polled_there_is_nothing_before_the_next_sample",
    ),
    change(
        _LSM6,
        "Lsm6._poll",
        "max(asked_s, self._polled_at_s - period_s)",
        "asked_s",
        _IN_LSM6 + "test_polled_late_the_sample_is_no_older_than_a_period",
    ),
    change(
        _LSM6,
        "Lsm6._poll",
        "max(asked_s, self._polled_at_s - period_s)",
        "self._polled_at_s - period_s",
        _IN_LSM6 + "test_polled_samples_carry_the_time_of_the_poll",
    ),
    without(_LSM6, "Lsm6.close", "self._bus.write(self._address, CTRL1_XL, 0)", _CLOSED),
    change(_LSM6, "Lsm6.close", "MachineFaultError", "KeyError", _CLOSED),
    *(
        never(
            _LSM6,
            f"Lsm6.{name}",
            f"self._{name} is None",
            _IN_LSM6 + "test_a_sensor_that_is_not_open_has_no_identity_and_no_setup",
        )
        for name in ("identity", "setup")
    ),
    change(
        _LSM6,
        "Lsm6.temperature_c",
        "256",
        "16",
        _ST + "test_st_temperature_has_256_counts_per_degree",
    ),
]

_MPU = "rig.devices.mpu6050"
_IN_MPU = _TESTS + "mpu6050.py::"
_MPU_KEPT = _IN_MPU + "test_each_control_register_is_set_and_read_back"
_MPU_NOTICED = _IN_MPU + "test_a_change_of_any_control_register_is_noticed"
_MPU_WAITED = _IN_MPU + "test_reset_and_filter_are_waited_for"
_MPU_STARTED = _IN_MPU + "test_start_throws_old_samples_away_and_counts_afresh"
_MPU_OVERFLOW = _IN_MPU + "test_an_overflow_is_counted_and_leaves_no_broken_samples"
_MPU_NEAREST = _IN_MPU + "test_takes_the_nearest_rate_and_corner"

MPU6050: list[Guard] = [
    limit(
        _MPU,
        "COUNTS_PER_G",
        _ST + "test_mpu_output_bytes_are_big_endian_at_16384_per_g",
        times=1.001,
    ),
    limit(
        _MPU, "RATE_TOLERANCE", _IN_MPU + "test_a_rate_that_no_oscillator_has_is_followed_half_way"
    ),
    limit(
        _MPU,
        "RATE_TOLERANCE",
        _IN_MPU + "test_a_rate_that_the_oscillator_may_have_is_followed",
        times=0.5,
    ),
    *(
        change(_MPU, "LOWPASS_HZ", corner, f"2 * {corner}", _MPU_NEAREST)
        for corner in ("184.0", "21.0", "10.0")
    ),
    change(_MPU, "Mpu6050.__init__", "divider - 1", "divider", _MPU_KEPT),
    change(
        _MPU,
        "Mpu6050.open",
        "0x68",
        "0x70",
        _IN_MPU + "test_a_relative_with_other_filters_is_refused",
    ),
    change(_MPU, "Mpu6050.open", "False", "True", _IN_MPU + "test_the_reset_is_sent_once_only"),
    without(_MPU, "Mpu6050.open", "self._clock.pause_s(0.1)", _MPU_WAITED),
    without(_MPU, "Mpu6050.open", "self._compare(...)", _MPU_KEPT),
    change(_MPU, "Mpu6050.open", "20 / self._rate_hz", "2 / self._rate_hz", _MPU_WAITED),
    change(_MPU, "Mpu6050.open", "4 / self._lowpass_hz", "0.4 / self._lowpass_hz", _MPU_WAITED),
    never(
        _MPU,
        "Mpu6050._compare",
        "(found := self._bus.read(self._address, register)[0]) != value",
        _MPU_NOTICED,
    ),
    without(
        _MPU,
        "Mpu6050.close",
        "self._bus.write(self._address, PWR_MGMT_1, 0x40)",
        _IN_MPU + "test_closing_puts_the_chip_to_sleep_even_when_it_is_gone",
    ),
    change(
        _MPU,
        "Mpu6050.close",
        "MachineFaultError",
        "KeyError",
        _IN_MPU + "test_closing_puts_the_chip_to_sleep_even_when_it_is_gone",
    ),
    without(_MPU, "Mpu6050.start", "self.samples_lost = 0", _MPU_STARTED),
    without(_MPU, "Mpu6050.start", "self._empty_fifo()", _MPU_STARTED),
    never(
        _MPU,
        "Mpu6050.read_batches",
        "self._bus.read(self._address, INT_STATUS)[0] & FIFO_OVERFLOW",
        _MPU_OVERFLOW,
    ),
    without(_MPU, "Mpu6050._start_over", "self._empty_fifo()", _MPU_OVERFLOW),
    change(
        _MPU,
        "Mpu6050._start_over",
        "max(1, made - self._made)",
        "made - self._made",
        _IN_MPU + "test_an_overflow_loses_one_sample_at_least",
    ),
    without(
        _MPU,
        "Mpu6050._empty_fifo",
        "self._bus.read(self._address, INT_STATUS)",
        _IN_MPU + "test_an_overflow_before_the_start_is_none_of_the_new_count",
    ),
    change(
        _MPU,
        "Mpu6050._levels",
        "2 / self._rate_hz",
        "20 / self._rate_hz",
        _IN_MPU + "test_a_chip_that_has_stopped_is_not_waited_for",
    ),
    never(
        _MPU,
        "Mpu6050._poll",
        "not self._bus.read(self._address, INT_STATUS)[0] & DATA_READY",
        _IN_MPU + "test_polled_late_the_sample_is_no_older_than_a_period",
    ),
    change(
        _MPU,
        "Mpu6050._poll",
        "max(asked_s, self._polled_at_s - period_s)",
        "asked_s",
        _IN_MPU + "test_polled_late_the_sample_is_no_older_than_a_period",
    ),
    never(
        _MPU,
        "Mpu6050.identity",
        "self._identity is None",
        _IN_MPU + "test_a_sensor_that_is_not_open_has_no_identity",
    ),
    change(_MPU, "Mpu6050.temperature_c", "340", "34", _ST + "test_mpu_temperature"),
]

_OPEN = "rig.devices.open_imu"

OPEN_IMU: list[Guard] = [
    inverted(
        _OPEN,
        "make_imu",
        'chip.imu_mode == "polled"',
        _IN_MPU + "test_the_settings_choose_how_it_is_read",
    ),
    inverted(
        _OPEN,
        "make_imu",
        'chip.imu_model == "mpu6050"',
        _IN_MPU + "test_the_settings_choose_the_driver",
    ),
]

ENTRIES: list[Guard] = [
    *LSM6,
    *MPU6050,
    *OPEN_IMU,
    *BUS,
    *VIEW,
    *BUTTONS,
    *CLIMATE,
    *CHECKS,
    *INPUTS,
    *LAMP,
    *PINS,
    *SAMPLE_CLOCK,
    *STEPPER,
]

NO_LIMITS: dict[str, str] = {}
