"""Guards of the analysis: home readings."""

from tests.guards.entry import Guard, change, limit, never, without

_HISTORY = "tests/analysis/test_home.py::test_"


def _home() -> list[Guard]:
    m, reading, records, raised = "rig.analysis.home", "home_reading", "home_records", "_of_raise"
    order = _HISTORY + "readings_are_less_the_calibrations_and_in_order_of_time"
    one = _HISTORY + "only_runs_of_one_calibration_count_the_newest_unless_it_is_named"
    none = _HISTORY + "a_folder_without_readings_has_no_history"
    bend = _HISTORY + "a_bend_is_the_growth_of_sensor_less_steps_over_20_degrees"
    hinge = _HISTORY + "a_sensor_that_turned_on_its_mount_shows_in_the_raise"
    delay = _HISTORY + "the_filters_delay_is_some_milliseconds"
    short = _HISTORY + "a_short_raise_shows_neither_hinge_nor_bend"
    steps = _HISTORY + "without_steps_there_is_no_bend"
    end = _HISTORY + "a_raise_without_a_slide_counts_to_its_end"
    shakes = _HISTORY + "what_shakes_the_board_as_it_starts_is_left_out"
    found = "max((one.calibration_made_at for one in readings), default=None)"
    return [
        limit(m, "BLOCK", short),
        limit(m, "BEND_OVER_DEG", bend),
        limit(m, "MIN_RAISE_DEG", short),
        limit(m, "MIN_RAISE_DEG", short, times=0.5),
        change(m, records, found, found.replace("max", "min"), one),
        change(m, records, "one.calibration_made_at == wanted", "True", one),
        change(m, "home_readings", "continue", "raise", one),
        change(m, "home_readings", "True", "False", one),
        without(m, records, "chosen.sort(...)", order),
        never(
            m,
            reading,
            "calibration is None",
            _HISTORY + "a_run_without_a_calibration_has_no_reading",
        ),
        never(m, reading, "event is None", none),
        change(m, records, "86400.0", "3600.0", order),
        change(
            m,
            reading,
            "float(event.detail['cross_deg'])",
            "float(event.detail['angle_deg'])",
            order,
        ),
        change(m, raised, "broken or ...", "broken", end),
        never(m, raised, "begun is None or ended is None", end),
        change(m, raised, "begun.t_s + 1.0", "begun.t_s", shakes),
        change(m, raised, "used < 10 * BLOCK", "used < 5 * BLOCK", short),
        never(m, raised, "len(steps_s) < 3", steps),
        change(
            m,
            raised,
            "calibration.filter_delay_ms / 1000.0",
            "1.0 * calibration.filter_delay_ms",
            delay,
        ),
        change(m, raised, "axis_shift_deg(calibration, gravity)", "(0.0, 0.0)", hinge),
    ]


ENTRIES: list[Guard] = _home()
