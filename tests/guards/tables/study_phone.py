"""Guards of slides that a phone measured: what is refused, what is taken off, what is stated."""

from tests.guards.entry import Guard, change, limit, never, without

_LIFT, _SLIDE, _SMOOTH, _TAPS, _TRACE, _ZERO = (
    f"rig.study.phone.{name}" for name in ("lift", "slide", "smooth", "taps", "trace", "zero")
)
_IN_LIFT, _IN_TAPS, _IN_TRACE, _IN_ZERO = (
    f"tests/study/phone/test_{name}.py::" for name in ("lift", "taps", "trace", "zero")
)
_IN_TABLE = "tests/study/slides/test_by_phone.py::"

_TAP = _IN_LIFT + "test_without_a_tap_there_is_no_slide"
_LOCKED = _IN_LIFT + "test_a_screen_that_was_locked_in_between_is_told"
_SOON = _IN_LIFT + "test_a_tap_too_soon_or_at_level_is_told"
_MOVED = _IN_LIFT + "test_a_board_that_moved_at_once_is_told"
_FEW = _IN_LIFT + "test_few_readings_a_second_are_told"
_LATER = _IN_LIFT + "test_a_later_reader_gives_the_same_slide_once_that_is_known"
_FASTER = _IN_LIFT + "test_a_jerkier_hand_and_a_faster_pace_are_stated"
_SHEET = _IN_LIFT + "test_the_sensors_part_is_that_of_a_data_sheet"
_BYTE = _IN_TRACE + "test_a_changed_byte_is_noticed"
_SECOND = _IN_TRACE + "test_a_key_that_is_sent_again_writes_no_second_file"
_CANNOT = _IN_TRACE + "test_readings_that_cannot_be_are_refused"
_TURN = _IN_ZERO + "test_a_half_turn_tells_the_phones_offset_from_the_boards_tilt"
_COARSE = _IN_ZERO + "test_the_uncertainty_covers_readings_that_are_rounded_coarsely"
_NO_ZERO = _IN_ZERO + "test_a_zero_that_cannot_be_is_refused"
_SCATTER = _IN_TAPS + "test_repeats_at_several_paces_tell_the_scatter"
_BESIDE = _IN_TAPS + "test_beside_a_rig_a_slow_reader_is_found_out"
_HARDLY = (
    _IN_TAPS + "test_repeats_alone_hardly_tell_a_delay_from_friction_that_changes_with_the_rate"
)
_KNOCKS = "tests/study/phone/test_smooth.py::test_knocks_hardly_move_it"
_NOW = _IN_TABLE + "test_a_reader_beside_the_rig_is_known_better_also_for_earlier_lifts"
_ALONE = _IN_TABLE + "test_a_lift_alone_has_the_usual_delay_taken_off"
_AGAIN, _IN_AGAIN = "rig.study.slides.again", "tests/study/slides/test_again.py::"
_OTHER = _IN_AGAIN + "test_what_another_version_finds_is_seen_and_not_written"
_REPLACES = _IN_AGAIN + "test_a_correction_replaces_the_line_and_keeps_it"
_WEIGHS = "tests/study/model/test_data.py::test_a_lift_that_is_less_certain_than_usual_weighs_less"

ENTRIES: list[Guard] = [
    change(_AGAIN, "Again.differs", "abs(a - b)", "a - b", _OTHER + "[0.0011-True]"),
    limit(_AGAIN, "SAME_DEG", _OTHER + "[0.0011-True]"),
    change(_AGAIN, "corrections", "one.reading.line", "None", _REPLACES),
    change(
        _AGAIN,
        "_Measuring.__init__",
        "study.journal.of(Reading)",
        "[e for e in study.journal.lines if isinstance(e, Reading)]",
        _IN_AGAIN + "test_only_lines_that_count_are_corrected",
    ),
    never(
        "rig.commands.study.readings",
        "reading",
        "bag is not None or angles or table is not None or replaces is not None",
        "tests/commands/test_again.py::test_again_is_asked_alone_and_of_a_study_with_lifts",
    ),
    never(_LIFT, "measure", "not samples.taps_s", _TAP),
    never(_LIFT, "_checked", "widest > GAP_S", _LOCKED),
    limit(_LIFT, "GAP_S", _LOCKED),
    never(_LIFT, "_checked", "n < 2 or t_s[n - 1] - t_s[0] < REST_S + 1.0", _SOON),
    never(_LIFT, "_check_rest", "means.max() - means.min() > REST_DEG", _MOVED),
    limit(_LIFT, "REST_DEG", _MOVED, times=10.0),
    never(_LIFT, "_checked", "n / (t_s[n - 1] - t_s[0]) < LEAST_HZ", _FEW),
    limit(_LIFT, "SCALE_SD", _SHEET),
    limit(_LIFT, "OFFSET_SD", _SHEET),
    change(_SLIDE, "slide_of", "reaction.delay_s", "0.0", _LATER),
    change(_SLIDE, "slide_of", "phone.pace_deg_s", "rate", _FASTER),
    change(_SLIDE, "slide_of", "abs(rate) * reaction.u_delay_s", "0.0", _ALONE),
    limit(_SMOOTH, "OUTLIER", _KNOCKS, times=50.0),
    change(_TAPS, "_system", "RATE_EFFECT_S ** 2", "0.0", _HARDLY),
    change(_TAPS, "_system", "OFFSET_DEG ** 2", "0.0", _BESIDE),
    limit(_TAPS, "SCATTER_SPREAD", _SCATTER, times=0.1),
    never(_TRACE, "read_trace", "end.check != f'{crc32(lines[0] + lines[1]):08x}'", _BYTE),
    change(_TRACE, "kept_trace", "f'*-{_plain(key)}{SUFFIX}'", "'none'", _SECOND),
    never(
        _TRACE,
        "TraceSamples.__post_init__",
        "len(self.acceleration_m_s2) != n or len(self.rotation_deg_s) not in (0, n)",
        _CANNOT + "[samples0]",
    ),
    change(_ZERO, "level_of", "first - second", "first + second", _TURN),
    change(_ZERO, "_u_m_s2", "step <= 0.0", "True", _COARSE),
    limit(_ZERO, "LEVEL_DEG", _NO_ZERO + "[zero0-leans by 7.0]"),
    never(
        _ZERO,
        "level_of",
        "max(zero.first.sd_m_s2, zero.second.sd_m_s2) > RESTLESS_M_S2",
        _NO_ZERO + "[zero1-did not lie still]",
    ),
    change(
        "rig.study.slides.by_phone",
        "lifted",
        "reactions[one.reader]",
        "Reaction(0.25, 0.05, 0.06)",
        _NOW,
    ),
    change(
        "rig.study.model.data",
        "_extra_variance",
        "max(s.u_random_deg ** 2 - usual_u2, 0.0)",
        "0.0",
        _WEIGHS,
    ),
    without(
        "rig.study.model.likelihood",
        "Likelihood.solve",
        "variance[rows] += design.extra_variance[rows]",
        _WEIGHS,
    ),
]
