"""Guards of reading the sensors and of judging their samples."""

from tests.guards.entry import Guard, change, limit, never, without

_C = "rig.control."
_T = "tests/control/test_"
_SENSES, _SENSES_TEST = _C + "senses", _T + "senses.py::test_"
_HEALTH, _HEALTH_TEST = _C + "sensor_health", _T + "sensor_health.py::test_"

ENTRIES: list[Guard] = [
    # -- the angle sensor's samples -----------------------------------------------------------
    limit(
        _HEALTH,
        "WINDOW_S",
        _HEALTH_TEST + "far_from_gravity_is_absurd_once_it_fills_a_quarter_of_a_second",
    ),
    limit(
        _HEALTH,
        "WINDOW_S",
        _HEALTH_TEST + "far_from_gravity_is_absurd_once_it_fills_a_quarter_of_a_second",
        times=0.5,
    ),
    limit(_HEALTH, "SATURATED_S", _HEALTH_TEST + "saturation_for_0_1_s_is_a_fault"),
    limit(
        _HEALTH,
        "SATURATED_S",
        _HEALTH_TEST + "saturation_for_0_1_s_is_a_fault",
        times=0.5,
    ),
    change(_HEALTH, "", "-15.0", "-30.0", _HEALTH_TEST + "an_impossible_angle_is_absurd"),
    change(_HEALTH, "", "-15.0", "-7.0", _HEALTH_TEST + "an_impossible_angle_is_absurd"),
    change(_HEALTH, "", "75.0", "150.0", _HEALTH_TEST + "an_impossible_angle_is_absurd"),
    change(_HEALTH, "", "75.0", "60.0", _HEALTH_TEST + "an_impossible_angle_is_absurd"),
    change(
        _HEALTH,
        "SensorHealth.__init__",
        "max(3, round(SATURATED_S * rate_hz))",
        "round(SATURATED_S * rate_hz)",
        _HEALTH_TEST + "a_slow_sensor_needs_three_samples_at_the_end_of_its_range",
    ),
    change(
        _HEALTH,
        "SensorHealth.feed",
        "self._n_saturated + 1 if is_saturated((sample,)) else 0",
        "self._n_saturated + is_saturated((sample,))",
        _HEALTH_TEST + "saturation_for_0_1_s_is_a_fault",
    ),
    never(
        _HEALTH,
        "SensorHealth._look",
        "is_frozen(recent)",
        _HEALTH_TEST + "twelve_equal_samples_are_frozen",
    ),
    change(
        _HEALTH,
        "SensorHealth._look",
        "is_full and is_norm_absurd(recent, self._counts_per_g)",
        "is_norm_absurd(recent, self._counts_per_g)",
        _HEALTH_TEST + "far_from_gravity_is_absurd_once_it_fills_a_quarter_of_a_second",
    ),
    never(
        _HEALTH,
        "SensorHealth._look",
        "is_full and is_norm_absurd(recent, self._counts_per_g)",
        _HEALTH_TEST + "far_from_gravity_is_absurd_once_it_fills_a_quarter_of_a_second",
    ),
    change(
        _HEALTH,
        "SensorHealth._look",
        "is_full and angle_deg is not None and not LOWEST_DEG <= angle_deg <= HIGHEST_DEG",
        "angle_deg is not None and not LOWEST_DEG <= angle_deg <= HIGHEST_DEG",
        _HEALTH_TEST + "an_impossible_angle_is_absurd",
    ),
    # -- reading the sensors ------------------------------------------------------------------
    limit(
        _SENSES,
        "SAMPLE_PERIOD_S",
        _SENSES_TEST + "the_angle_is_read_more_often_while_something_moves",
    ),
    limit(
        _SENSES,
        "RESTING_PERIOD_S",
        _SENSES_TEST + "the_angle_is_read_more_often_while_something_moves",
    ),
    limit(
        _SENSES,
        "IMU_TEMPERATURE_PERIOD_S",
        _SENSES_TEST + "the_sensors_registers_are_compared_every_2_s",
    ),
    without(
        _SENSES,
        "Senses.watch_angle",
        "self.imu.verify()",
        _SENSES_TEST + "the_sensors_registers_are_compared_every_2_s",
    ),
    change(
        _SENSES,
        "Senses.watch_climate",
        "0 if is_good else self.doubtful_climates + 1",
        "self.doubtful_climates + (not is_good)",
        _SENSES_TEST + "doubtful_climates_count_until_a_good_one_comes",
    ),
    change(
        _SENSES,
        "Senses.watch_climate",
        "reading.temperature_c is not None and reading.relative_humidity_pct is not None",
        "reading.temperature_c is not None",
        _SENSES_TEST + "doubtful_climates_count_until_a_good_one_comes",
    ),
    change(
        _SENSES,
        "Senses.watch_climate",
        "reading.temperature_c is not None and reading.relative_humidity_pct is not None",
        "reading.relative_humidity_pct is not None",
        _SENSES_TEST + "doubtful_climates_count_until_a_good_one_comes",
    ),
    change(
        _SENSES,
        "Senses.watch_climate",
        "self.settings.cycle.climate_interval_s",
        "2.0 * self.settings.cycle.climate_interval_s",
        _SENSES_TEST + "the_climate_is_read_as_often_as_the_settings_say",
    ),
    without(
        _SENSES,
        "Senses._take",
        "self._health.feed(batch.counts, self.live.angle_deg)",
        _SENSES_TEST + "what_the_samples_show_is_told",
    ),
    change(
        _SENSES,
        "Senses._take",
        "batch.t_s + len(batch.counts) * batch.dt_s",
        "self.clock.time_s() + 1.0",
        _SENSES_TEST + "a_sample_is_seen_at_the_time_after_the_last_of_its_batch",
    ),
    without(
        _SENSES,
        "Senses.listening",
        "self._listeners.remove(hear)",
        _SENSES_TEST + "samples_go_to_the_file_and_to_listeners_while_they_listen",
    ),
    without(
        _SENSES,
        "Senses.sensor_in_hand",
        "self._health = None",
        _SENSES_TEST + "a_sensor_in_hand_is_not_judged_and_judged_again_after_that",
    ),
    without(
        _SENSES,
        "Senses.sensor_in_hand",
        "self.begin_health()",
        _SENSES_TEST + "a_sensor_in_hand_is_not_judged_and_judged_again_after_that",
    ),
    never(
        _SENSES,
        "Senses.angles_deg",
        "not counts",
        _SENSES_TEST + "a_sensor_without_a_sample_has_no_angle",
    ),
    never(
        _SENSES,
        "Senses.angles_deg",
        "self.calibration is None",
        _SENSES_TEST + "a_sensor_without_a_sample_has_no_angle",
    ),
    change(
        _SENSES,
        "Senses._record_climate",
        "None if self.live.imu_temperature_c is None else 'imu'",
        "'surface'",
        _SENSES_TEST + "the_boards_temperature_is_marked_as_the_chips",
    ),
]
