"""Guards of the devices: the angle sensors and the times of their samples."""

from tests.guards.entry import Guard, always, change, inverted, limit, never, without

_TESTS = "tests/devices/test_"

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

ENTRIES: list[Guard] = [*CHECKS, *SAMPLE_CLOCK, *LSM6, *MPU6050, *OPEN_IMU]
