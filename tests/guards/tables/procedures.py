"""Guards of what a person starts: runs, series, service, self-test."""

from tests.guards.entry import Guard, always, change, limit, never, without

_TESTS = "tests/procedures/"
_CUT, _HEADER = _TESTS + "series/test_cut_runs.py::test_", _TESTS + "test_header.py::test_"
_COUNTS, _GATE = _TESTS + "test_counts.py::test_", _TESTS + "series/test_climate_gate.py::test_"
_LOG, _QUICK = _TESTS + "series/test_log.py::test_", _TESTS + "series/test_quick.py::test_"
_RATES, _RULES = _TESTS + "test_rates.py::test_", _TESTS + "series/test_stop_rules.py::test_"
_RUNS, _SERIES = _TESTS + "test_runs.py::test_", _TESTS + "series/test_series.py::test_"
_SELFTEST, _SOUND = (
    _TESTS + "selftest/test_selftest.py::test_",
    _TESTS + "selftest/test_limits.py::test_",
)
_STANDBY, _TIMING = _TESTS + "test_standby.py::test_", _TESTS + "test_timing.py::test_"
_DESK = "tests/panel/test_desk_at_rest.py::test_"


def _climate_gate() -> list[Guard]:
    m, look = "rig.procedures.series.climate_gate", "ClimateGate._look"
    wait, steady = "ClimateGate.wait", "ClimateGate._drop_unsteady"
    edge = _GATE + "air_is_right_up_to_the_edge_of_the_band"
    again = _GATE + "once_out_of_the_band_the_wait_begins_again"
    moved = _GATE + "air_within_the_band_must_not_have_moved_by_more_than_the_tolerance"
    swings = _GATE + "what_is_not_wanted_may_swing"
    in_time = _GATE + "the_wait_ends_in_time_and_says_why"
    just = _GATE + "air_that_comes_just_in_time_lets_the_run_begin"
    at_once = _GATE + "wrong_air_holds_a_run_back_also_where_it_need_not_be_steady"
    ranges = _GATE + "a_band_has_a_range"
    told = _GATE + "a_band_in_other_units_is_converted_and_told"
    off = "abs(value - target) > tolerance"
    late, short = "now_s - began_s > band.timeout_s", "self._good_s < band.steady_s"
    return [
        limit(m, "LOOK_S", in_time),
        limit(m, "SHOW_EVERY_S", in_time),
        *(
            change(m, "parse_band", old, new, ranges)
            for old, new in (
                ("-20.0", "-40.0"),
                ("-20.0", "-10.0"),
                ("60.0", "120.0"),
                ("60.0", "30.0"),
                ("0.5", "0.25"),
                ("0.5", "1.0"),
                ("0.0", "-5.0"),
                ("0.0", "5.0"),
                ("100.0", "200.0"),
                ("100.0", "50.0"),
                ("1.0", "0.5"),
                ("1.0", "2.0"),
            )
        ),
        without(m, "parse_band", "told(name, wanted)", told),
        without(m, "parse_band", "told(f'{name} ±', width)", told),
        change(m, wait, f"self._why or {short}", short, at_once),
        never(m, wait, short, edge),
        change(m, wait, late, "now_s - began_s > 2.0 * band.timeout_s", in_time),
        change(m, wait, late, "now_s - began_s > 0.5 * band.timeout_s", just),
        without(m, wait, "mover.ask('')", edge),
        never(m, look, "temperature_c is None", edge),
        never(m, look, "humidity_pct is None", edge),
        without(m, look, "seen.clear()", again, nth=1),
        without(m, look, "seen.clear()", again, nth=2),
        change(m, look, off, "(value - target) > tolerance", edge),
        change(m, look, off, "(target - value) > tolerance", edge),
        change(m, look, off, "abs(value - target) > 2.0 * tolerance", edge),
        change(m, look, off, "abs(value - target) >= tolerance", edge),
        always(m, look, "target is not None", edge),
        without(m, look, "self._drop_unsteady()", moved),
        *(
            change(m, steady, f"abs({now}) > ...", f"{way} > {tolerance}", moved)
            for now, back, tolerance in (
                ("t - temperature_c", "temperature_c - t", "band.temperature_tolerance_k"),
                ("h - humidity_pct", "humidity_pct - h", "band.humidity_tolerance_pct"),
            )
            for way in (f"({now})", f"({back})", f"0.5 * abs({now})", f"2.0 * abs({now})")
        ),
        always(m, steady, "band.temperature_c is not None", swings),
        always(m, steady, "band.relative_humidity_pct is not None", swings),
    ]


def _runs() -> list[Guard]:
    m, make, one = "rig.procedures.runs", "make_runs", "_one_run"
    none = _RUNS + "without_a_calibration_no_run_is_made"
    fits = _RUNS + "a_calibration_that_does_not_fit_is_refused_before_a_file_is_made"
    overdue = _RUNS + "an_overdue_calibration_that_was_allowed_flags_each_run"
    wish = _RUNS + "events_from_before_are_history_but_a_wish_to_stop_is_not"
    last = _RUNS + "no_run_begins_after_the_last_one_that_was_to_be_finished"
    hooks = _RUNS + "what_comes_before_a_run_may_change_it_and_what_comes_after_may_end_the_row"
    file = _RUNS + "each_run_has_a_file_of_its_day_and_its_free_space_checked"
    watched = _RUNS + "sensors_are_watched_from_before_the_first_run_to_the_end"
    told = _RUNS + "what_a_watching_task_meets_comes_as_an_event"
    another = _RUNS + "before_another_series_lamp_and_words_do_not_say_rest"
    return [
        never(m, make, "not is_last", another),
        limit(m, "FIRST_LOOK_S", watched, times=0.01),
        never(m, make, "machine.calibration is None", none),
        without(m, make, "_calibration_flags(machine)", fits),
        without(m, make, "_forget_old_events(machine)", wish),
        never(m, "_forget_old_events", "isinstance(item, StopRequest)", wish),
        without(m, "_forget_old_events", "machine.events.put(item)", wish),
        never(m, make, "machine.last_run_reason is not None", last),
        never(m, make, "before is not None", hooks),
        never(m, make, "on_end(run)", hooks),
        without(m, make, "yield from stop_watching(...)", watched),
        without(m, one, "check_free_space(...)", file),
        without(m, one, "recorder.flag(flag)", overdue),
        change(m, one, "cycle.pushes", "0", hooks),
        change(m, one, "cycle.brought_down", "0", hooks),
        change(m, "start_watching", "machine.watch_angle()", "machine.lamp.blink()", watched),
        change(m, "start_watching", "machine.watch_climate()", "machine.lamp.blink()", watched),
        change(m, "start_watching", "machine.events", "None", told, nth=1),
        change(m, "start_watching", "machine.events", "None", told, nth=2),
        never(m, "raise_failures", "isinstance(item, Done) and ...", told),
    ]


def _header() -> list[Guard]:
    header, cut = "rig.procedures.header", "rig.procedures.series.cut_runs"
    requests, rates = "rig.procedures.requests", "rig.procedures.rates"
    holds = _HEADER + "the_header_holds_what_was_asked_and_what_the_machine_is"
    clock = _HEADER + "a_rigs_wall_clock_is_asked_for_and_a_twins_is_right"
    space = _HEADER + "a_run_needs_free_space_where_its_folder_will_lie"
    usual = _HEADER + "what_is_not_asked_for_is_the_settings"
    far = _CUT + "a_file_tells_how_far_its_run_came"
    slid = _CUT + "a_bag_that_slid_has_slid_also_when_the_board_is_lowered_again"
    no_file = _CUT + "a_file_that_never_came_to_be_tells_nothing"
    method = "rig.settings.method"
    wrong, right = _RATES + "rates_that_will_not_do", _RATES + "rates_that_will"
    requests = "rig.procedures.requests"
    after = _RATES + "rates_after_the_first_check_the_material"
    apart = _RATES + "a_check_is_made_far_from_the_measuring_rate"
    turns = _RATES + "a_bridging_series_is_raised_both_ways_in_turns"
    refused = _RATES + "a_rate_of_such_a_series_that_the_pulses_cannot_make_is_refused"
    return [
        change(header, "check_free_space", "free < min_free_mb", "free <= min_free_mb", space),
        never(header, "make_header", "machine.inputs.beams == 2", holds),
        always(header, "make_header", "request.source == 'rig'", clock),
        never(header, "make_header", "request.source == 'rig'", clock),
        always(header, "clock_is_synchronised", "CLOCK_SYNCHRONISED.exists()", clock),
        always(header, "clock_is_synchronised", "TIMESYNC.exists()", clock),
        change("rig.runfile.reader", "RunFile.last_time_s", "self.steps[-1:]", "()", far),
        change(cut, "how_it_ended", "'sliding' in names", "names[-1:] == ['sliding']", slid),
        change(cut, "how_it_ended", "event.event == 'blade_push'", "False", far),
        change(cut, "how_it_ended", "event.event == 'bag_brought_down'", "False", far),
        change(cut, "how_it_ended", "return RunEnd(None, None, None, False)", "raise", no_file),
        change(requests, "plan_series", "dwell_s is None", "not dwell_s", usual),
        change(method, "RATE_DEG_S", "0.1, 3.0", "0.05, 3.0", wrong),
        change(method, "RATE_DEG_S", "0.1, 3.0", "0.2, 3.0", right),
        change(method, "RATE_DEG_S", "0.1, 3.0", "0.1, 6.0", wrong),
        change(method, "RATE_DEG_S", "0.1, 3.0", "0.1, 1.5", right),
        never(rates, "parse_rates", "len(set(rates)) != len(rates)", wrong),
        never(rates, "parse_rates", "len(rates) < 2", wrong),
        change(requests, "_at_rates", "'check'", "None", after),
        change(requests, "plan_series", "check_rate_deg_s(first.rate_deg_s)", "1.0", apart),
        change(requests, "plan_series", "_both_ways(first, rate_deg_s)", "(first, first)", turns),
        without(requests, "plan_series", "check_rate(...)", refused + "[bridge]"),
        change(
            rates,
            "balanced_order",
            "ways[int(names[(row + place) % n])]",
            "ways[int(names[place])]",
            _RATES + "blocks_hold_each_rate_once_and_squares_each_place_once",
        ),
    ]


def _stop_rules() -> list[Guard]:
    m = "rig.procedures.series.stop_rules"
    narrow = _RULES + "narrow_enough_is_students_interval"
    pooled = _RULES + "what_was_known_of_the_scatter_counts_as_slides_do"
    row = _RULES + "bad_runs_must_be_in_a_row"
    fifth = _RULES + "a_trend_is_looked_for_at_every_fifth_run_from_the_tenth_on"
    rare = _RULES + "a_trend_must_be_rarer_than_one_in_a_thousand"
    valid = "run.valid and run.slide_number is not None and run.mu_static is not None"
    return [
        limit(m, "MIN_RUNS", narrow),
        limit(m, "MIN_RUNS", narrow, times=0.5),
        limit(m, "TREND_FROM", fifth),
        limit(m, "TREND_FROM", fifth, times=0.5),
        limit(m, "TREND_EVERY", fifth),
        change(m, "TREND_EVERY", "5", "1", fifth),
        limit(m, "TREND_P", rare),
        limit(m, "TREND_P", rare, times=0.5),
        change(m, "narrow_enough", "0.975", "0.95", narrow),
        change(m, "narrow_enough", "squares / freedom / n", "squares / freedom", narrow),
        change(m, "narrow_enough", "known.freedom + n - 1", "known.freedom + n", narrow),
        change(m, "narrow_enough", "n < least", "False", pooled),
        change(m, "narrow_enough", "known.freedom * known.sd_deg**2", "0.0", pooled),
        change(m, "narrow_enough", "r.valid", "True", narrow),
        never(m, "bad_in_a_row", "len(runs) < limit", row),
        change(m, "bad_in_a_row", "runs[-limit:]", "runs[-1:]", row),
        change(m, "trend_found", valid, "run.slide_number is not None", fifth),
        change(m, "trend_found", "found >= p", "found > p", rare),
    ]


def _series() -> list[Guard]:
    m, maker = "rig.procedures.series.series", "SeriesMaker"
    init, between, ended = f"{maker}.__init__", f"{maker}._before", f"{maker}._ended"
    slides = _COUNTS + "a_slide_counts_whether_it_was_measured_or_only_brought_the_bag_down"
    before = _COUNTS + "slides_before_are_those_of_the_bag_face_in_earlier_series"
    resumed = _COUNTS + "a_resumed_series_counts_on"
    earlier = _COUNTS + "earlier_runs_of_a_resumed_series_still_count_for_its_rules"
    closed = _COUNTS + "a_rule_ends_the_series_for_good"
    air = _COUNTS + "no_run_begins_in_the_wrong_air"
    alone = _COUNTS + "bad_runs_in_a_row_end_a_series_that_nobody_watches"
    rules = _COUNTS + "each_option_has_its_rule"
    wiped = _COUNTS + "the_board_is_to_be_wiped_after_so_many_slides_not_runs"
    due = _COUNTS + "a_resumed_series_asks_for_wiping_when_it_is_due"
    quick = _QUICK + "a_series_begins_with_one_settling_raise_that_fixes_its_start"
    whole = _QUICK + "a_whole_series_has_no_settling_raise"
    settled = _QUICK + "the_settling_raise_is_no_bad_run"
    bridge = _QUICK + "a_bridging_series_is_whole_and_quick_in_turns"
    fine = _QUICK + "fine_microsteps_make_the_settling_raise_slower"
    kept = _QUICK + "a_resumed_series_keeps_its_start_and_its_early_slides"
    fails = _SERIES + "an_analysis_that_fails_does_not_end_the_series"
    return [
        limit(m, "UNATTENDED_BAD_RUNS", alone),
        change(m, "UNATTENDED_BAD_RUNS", "3", "2", alone),
        never(m, "rules_of", "limit is None and ...", alone),
        always(m, "enough_of", "options.until_angle_deg is None", rules),
        never(m, "rules_of", "options.stop_at_trend", rules),
        change(m, init, "... - series.slides", "log.wear(first.bag, first.face).slides", resumed),
        always(m, init, "first.bag is not None", before),
        change(m, init, "series.slides", "0", resumed, nth=1),
        change(m, init, "max(series.slides - 1, 0)", "0", due),
        change(m, init, "max(series.slides - 1, 0)", "series.slides", due),
        change(m, f"{maker}.make", "self._series.counted.items()", "()", earlier, kept),
        without(m, f"{maker}.make", "self._close(...)", closed),
        never(m, between, "self._gate is not None", air),
        never(m, between, "every is not None and ...", wiped),
        change(m, between, "... > self._reminded_at // every", "self._slides % every == 0", wiped),
        without(m, between, "self._reminded_at = self._slides", wiped),
        never(m, "begin_series", "options.quick and numbered", quick),
        change(m, "begin_series", "options.quick and numbered", "numbered", whole),
        never(m, between, "request.settling", quick),
        change(m, between, "settling_rate_deg_s(self._machine.settings)", "1.5", fine),
        never(m, between, "self._options.quick and request.raise_start != 'whole'", quick),
        change(m, between, "request.raise_start != 'whole'", "True", bridge),
        change(m, f"{maker}._take", "'settling' in result.flags", "False", settled),
        change(m, between, "... + self._slides + 1", "self._slides", slides),
        change(m, ended, "... + run.brought_down", "(run.outcome == 'slid')", slides),
        change(m, ended, "... + run.brought_down", "1 + run.brought_down", slides),
        change(m, ended, "run.pushes", "0", before),
        change(m, ended, "run.brought_down", "0", before, nth=1),
        without(m, f"{maker}._take", "self._figures.append(...)", closed),
        change(m, f"{maker}._analyse", "return None", "raise", fails),
    ]


def _series_log() -> list[Guard]:
    m, log = "rig.procedures.series.log", "SeriesLog"
    add, settle = f"{log}.add", f"{log}.settle"
    busy = _SERIES + "only_one_process_makes_a_series_in_a_folder"
    place = _SERIES + "a_folder_that_cannot_be_written_is_told"
    torn = _LOG + "a_torn_last_line_does_not_spoil_the_next_one"
    twice = _LOG + "closing_twice_is_harmless"
    newest = _LOG + "the_newest_series_with_runs_left_can_be_resumed"
    counted = _LOG + "what_came_to_its_end_is_counted_and_every_slide_is_worn"
    read = _LOG + "what_was_not_told_is_read_from_the_run_files"
    face = _LOG + "wear_is_of_one_face_of_one_bag"
    changed = _LOG + "a_line_that_was_changed_is_left_out_and_told"
    both, one = "(e.bag, e.face) == (bag, face)", "e.series_id == planned.series_id"
    counts = "frozenset({'slid', 'no_slide'})"
    return [
        without(m, f"{log}.__init__", "fcntl.flock(...)", busy),
        without(m, f"{log}.__init__", "self._read()", changed),
        change(m, f"{log}.__init__", "raise BadInputError(...) from error", "raise", place),
        never(m, f"{log}.close", "descriptor >= 0", busy),
        always(m, f"{log}.close", "descriptor >= 0", twice),
        change(m, f"{log}._read", "line.verdict != 'changed'", "True", changed),
        without(m, add, "append_to(...)", torn),
        always(m, settle, "e.run_id not in told", read),
        never(m, settle, "end.outcome is not None", read),
        change(m, settle, "end.has_slid", "False", read),
        change(m, settle, "end.pushes", "0", read),
        change(m, settle, "end.brought_down", "0", read),
        change(m, f"{log}.unfinished", "reversed(self.entries)", "self.entries", newest),
        change(m, f"{log}.unfinished", one, "True", newest),
        never(m, f"{log}.unfinished", "is_closed", newest, nth=2),
        never(m, f"{log}.unfinished", "not series.remaining", newest),
        change(m, "COUNTED", counts, "frozenset({'slid'})", counted),
        change(m, "COUNTED", counts, "frozenset({'slid', 'no_slide', 'stopped'})", counted),
        never(m, f"{log}.series", "isinstance(end, Ended) and ...", counted),
        change(m, f"{log}.series", "isinstance(e, Ended | Cut)", "isinstance(e, Ended)", counted),
        change(m, f"{log}._of", "e.series_id == series_id", "True", counted),
        change(m, f"{log}.wear", both, "e.bag == bag", face),
        change(m, f"{log}.wear", both, "e.face == face", face),
        change(m, f"{log}.wear", "isinstance(e, Ended | Cut)", "isinstance(e, Ended)", counted),
        change(m, "_Over.slides", "self.slid + self.brought_down", "self.slid", counted),
    ]


def _quick() -> list[Guard]:
    m, quick = "rig.procedures.series.quick", "QuickStart"
    take, settle = f"{quick}.take", f"{quick}._settle"
    begins = _QUICK + "a_series_begins_with_one_settling_raise_that_fixes_its_start"
    early = _QUICK + "an_early_slide_moves_the_start_5_degrees_lower_and_a_second_one_ends_it"
    sound = _QUICK + "only_a_sound_angle_well_above_level_gives_a_start"
    return [
        limit("rig.settings.method", "MEASURED_DEG", begins),
        limit("rig.settings.method", "MEASURED_DEG", begins, times=0.5),
        limit(m, "LOWER_BY_DEG", early),
        limit(m, "MOST_EARLY", early),
        limit(m, "MOST_EARLY", early, times=0.5),
        limit(m, "LOWEST_DEG", sound),
        limit(m, "LOWEST_DEG", sound, times=0.5),
        never(m, take, "'slid_early' not in result.flags", begins),
        always(m, take, "'slid_early' not in result.flags", early),
        change(m, settle, "INVALIDATING.intersection(result.flags) - {'settling'}", "()", sound),
    ]


def _service() -> list[Guard]:
    m, turn = "rig.procedures.standby", "stand_by.turn"
    first = _STANDBY + "nothing_moves_before_start_is_pressed"
    down = _STANDBY + "a_press_while_the_emergency_stop_is_down_moves_nothing"
    beats = _STANDBY + "the_control_loop_beats_all_the_time"
    outlasts = _STANDBY + "the_service_outlasts_what_ends_a_series"
    halts = _STANDBY + "a_fault_halts_the_service_until_a_press_and_is_shown"
    cause = _STANDBY + "the_first_cause_stays_until_then"
    signal = _STANDBY + "a_signal_in_a_series_ends_the_service"
    start = "rig.control.placing"
    return [
        limit(start, "BUTTON_POLL_S", beats, times=50.0),
        without(
            m, "at_rest", "machine.beat()", beats, _DESK + "a_sign_of_life_is_given_every_20_ms"
        ),
        without(m, turn, "yield from at_rest(...)", first),
        never(m, turn, "machine.inputs.emergency_stop_pressed", down),
        never(m, turn, "machine.latched is not None", halts),
        never(
            m, "serve", "stop.ends_program", signal, _DESK + "a_signal_in_a_series_ends_the_program"
        ),
        always(
            m,
            "serve",
            "stop.ends_program",
            outlasts,
            _DESK + "however_a_series_ends_the_machine_is_served_on",
        ),
        without(m, "serve", "machine.latch(fault)", halts),
        without(m, "serve", "machine.enter('halted')", halts),
        change(m, "serve", "machine.latched or fault", "fault", cause),
        change(m, "serve", "tell(error)", "raise", outlasts),
    ]


def _self_test() -> list[Guard]:
    m, angle = "rig.procedures.selftest.selftest", "_angle"
    wrong = _SOUND + "what_is_wrong_is_found_and_then_nothing_moves"
    sound = _SOUND + "a_sound_rig_has_nothing_to_find"
    room = _SOUND + "the_disk_must_have_room"
    size = _SOUND + "gravity_must_be_about_as_large_as_it_is"
    dead = _SOUND + "a_sensor_that_is_dead_or_shaken_is_found"
    heard = _SOUND + "the_sensor_must_be_heard_for_a_second_and_a_half"
    return [
        limit(m, "LISTEN_S", heard),
        limit(m, "LISTEN_S", heard, times=0.5),
        always(m, "self_test", "all(finding.is_good for finding in findings)", wrong),
        always(m, "self_test", "move", sound),
        change(
            m,
            "_released",
            "not keeps",
            "True",
            _SOUND + "pins_that_stay_driven_after_a_kill_are_told",
        ),
        change(m, "_disk", "free >= ...", "free > machine.settings.interlocks.min_free_mb", room),
        always(m, "_inputs", "not inputs.emergency_stop_pressed", wrong),
        always(m, "_inputs", "not inputs.limit_upper_reached", wrong),
        always(m, "_inputs", "not broken", wrong),
        change(m, "_inputs", "machine.inputs.beams + 1", "machine.inputs.beams", wrong),
        change(m, "_inputs", "('start_button', 'stop_button')", "('start_button',)", wrong),
        change(m, "_inputs", "('start_button', 'stop_button')", "('stop_button',)", wrong),
        always(m, "_bus", "wanted <= set(found)", wrong),
        change(m, "_bus", "wanted <= set(found)", "set(found) <= wanted", wrong),
        change(m, angle, "len(counts) < 20", "len(counts) < 10", heard),
        change(m, angle, "len(counts) < 20", "len(counts) < 40", heard),
        change(m, angle, "abs(size_g - 1.0)", "(size_g - 1.0)", size),
        change(m, angle, "0.1", "0.2", size),
        change(m, angle, "0.1", "0.05", size),
        change(m, angle, "0 < noise_mg < 20", "noise_mg < 20", dead),
        change(m, angle, "0 < noise_mg < 20", "0 < noise_mg", dead),
        change(m, angle, "0 < noise_mg < 20", "0 < noise_mg < 10", dead),
        change(m, angle, "1e3 * ...", "1e3 * stdev(axes[1])", dead),
        never(m, angle, "machine.calibration is None", wrong),
        never(m, "_climate", "live.temperature_c is None", wrong),
        never(m, "_climate", "live.relative_humidity_pct is None", wrong),
    ]


def _self_test_moves() -> list[Guard]:
    m, moves = "rig.procedures.selftest.moves", "try_moves"
    alike = _SOUND + "sensor_and_steps_must_rise_alike_or_the_blade_stays"
    none = _SOUND + "without_a_calibrated_angle_nothing_is_tried"
    ends = _SOUND + "what_ends_a_move_ends_the_test_with_the_motors_off"
    nobody = _SELFTEST + "nothing_moves_while_nobody_presses_start"
    homes = _SELFTEST + "it_homes_moves_the_board_and_then_the_blade"
    still = _SELFTEST + "a_fault_of_the_board_keeps_the_blade_still"
    rise = "abs(rise_deg - MOVE_DEG) < 0.1 * MOVE_DEG"
    return [
        limit(m, "MOVE_DEG", alike),
        limit(m, "BLADE_MM", alike),
        limit(m, "REST_S", alike),
        limit(m, "PRESS_S", nobody),
        never(m, moves, "machine.calibration is None", none),
        without(m, moves, "yield from wait_for_start(...)", nobody),
        without(m, moves, "yield from home(mover, machine)", homes),
        always(m, moves, "machine.has_blade and found[-1].is_good", alike),
        without(m, moves, "machine.latch(error)", ends),
        without(m, moves, "machine.motors_off()", ends),
        without(m, moves, "machine.enter('halted')", still),
        change(m, "_board", rise, "(rise_deg - MOVE_DEG) < 0.1 * MOVE_DEG", alike),
        change(m, "_board", rise, "abs(rise_deg - MOVE_DEG) < 0.2 * MOVE_DEG", alike),
        change(m, "_board", rise, "abs(rise_deg - MOVE_DEG) < 0.05 * MOVE_DEG", alike),
        change(m, "_board", "top_deg - began_deg", "top_deg", alike),
    ]


def _timing() -> list[Guard]:
    m, errors = "rig.procedures.timing", _TIMING + "errors_are_of_the_interval"
    return [
        change(m, "_judge", "... * 1e6", "np.abs(np.diff(times_s) - 1.0 / rate_hz)", errors),
        change(m, "_judge", "np.abs(...)", "(np.diff(times_s) - 1.0 / rate_hz)", errors),
        change(m, "_judge", "times_s.size - 1", "times_s.size", errors),
    ]


ENTRIES: list[Guard] = [
    *_climate_gate(),
    *_runs(),
    *_header(),
    *_stop_rules(),
    *_series(),
    *_series_log(),
    *_quick(),
    *_service(),
    *_self_test(),
    *_self_test_moves(),
    *_timing(),
]
