"""Guards of the devices: the bus and the climate sensor on it."""

from tests.guards.entry import Guard, always, change, limit, never, without

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

ENTRIES: list[Guard] = [*BUS, *VIEW, *CLIMATE]
