"""Guards of run files: the lines, their writer and their reader."""

from tests.guards.entry import Guard, always, change, inverted, limit, never, swapped, without

_TESTS = "tests/runfile/test_"

_MODEL = "rig.runfile.model"
_READER = "rig.runfile.reader"
_PACKED = "rig.runfile.packed"
_IN_READER = _TESTS + "reader.py::"
_IN_PACKED = _TESTS + "packed.py::"
_NONE = _IN_READER + "test_what_is_no_run_file_is_refused"
_HEADER = _IN_READER + "test_a_header_with_a_wrong_value_is_refused"
_ENDS = _IN_READER + "test_a_header_at_the_end_of_its_range_is_read"
_DAMAGED = _IN_READER + "test_a_damaged_line_is_left_out_and_told"
_TWICE = _IN_READER + "test_a_second_first_or_last_line_is_left_out_and_told"
_FLAGS = _IN_READER + "test_just_these_flags_keep_a_run_out_of_the_results"
_SCHEMA = _IN_READER + "test_the_shipped_schema_is_that_of_the_types"
_TORN_END = _IN_READER + "test_a_torn_last_line_is_told_with_its_length"
_FAR = _IN_READER + "test_an_interrupted_run_says_how_far_it_came"
_ORDER = _IN_READER + "test_samples_that_came_out_of_order_are_put_in_order_with_their_counts"
_LATER = _IN_READER + "test_unknown_kinds_and_keys_are_kept"
_IN_HEADER = _IN_READER + "test_cut_in_the_header_is_told"
_FOUND = _IN_READER + "test_only_run_files_are_found_in_folders"
_MISSING = _IN_READER + "test_missing_file_and_folder_are_refused"
_NO_FEED = _IN_READER + "test_a_last_line_without_its_line_feed_counts"

MODEL: list[Guard] = [
    limit(_MODEL, "VERSION", _NONE),
    *(
        change(_MODEL, "INVALIDATING", f"'{flag}'", "'creep'", _FLAGS)
        for flag in (
            "no_slide",
            "moved_before_raise",
            "beam_fault",
            "angle_sensor_fault",
            "step_loss",
            "halted",
            "settling",
            "slid_early",
            "slumped",
        )
    ),
    change(
        _MODEL, "Header", "Meta(min_length=1)", "Meta(min_length=0)", f"{_HEADER}[change0-run_id]"
    ),
    change(_MODEL, "Samples", "tuple[Count, Count, Count]", "tuple[Count, ...]", _DAMAGED, nth=1),
    change(_MODEL, "Steps", "int", "float", _DAMAGED),
    change(_MODEL, "End", "Outcome", "str", _DAMAGED),
    change(_MODEL, "End", "list[Flag]", "list[str]", _DAMAGED),
    change(_MODEL, "Event", "'event'", "'happened'", _SCHEMA, nth=1),
    change("rig.runfile.schema", "_settled", "inspect.cleandoc(node)", "node", _SCHEMA),
]

_IN_LIMITS = _TESTS + "limits.py::"
_BEYOND = _IN_LIMITS + "test_each_value_is_taken_within_its_range_and_refused_beyond"
_PINNED = _IN_LIMITS + "test_what_data_sheets_and_arithmetic_say"
_SLIPS = _IN_LIMITS + "test_a_slip_of_unit_or_point_is_refused_and_what_people_measure_is_taken"
_LIMITS = "rig.runfile.limits"

LIMITS: list[Guard] = [
    *(
        change(_LIMITS, name, old, new, _PINNED)
        for name, old, new in (
            ("AIR_C", "-40.0", "-41.0"),
            ("AIR_C", "85.0", "86.0"),
            ("HUMIDITY_PCT", "0.0", "-1.0"),
            ("HUMIDITY_PCT", "100.0", "101.0"),
            ("PRESSURE_HPA", "300.0", "0.0"),
            ("PRESSURE_HPA", "1100.0", "2000.0"),
            ("COUNT", "-32768", "-32769"),
            ("COUNT", "32767", "32768"),
            ("GAP_MM", "0.0", "-1.0"),
            ("U_LENGTH_MM", "0.0", "-1.0"),
            ("U_ANGLE_DEG", "0.0", "-1.0"),
            ("LENGTH_MM", "1.0", "0.0"),
            ("RATE_DEG_S", "0.001", "0.0"),
            ("STEP_S", "1e-05", "0.0"),
        )
    ),
    *(
        change(_LIMITS, name, old, new, _SLIPS)
        for name, old, new in (
            ("TIME_S", "30 * _DAY_S", "300 * _DAY_S"),
            ("STEP_S", "5.0", "50.0"),
            ("CHIP_C", "-60.0", "-600.0"),
            ("CHIP_C", "150.0", "1500.0"),
            ("RATE_DEG_S", "30.0", "300.0"),
            ("DWELL_S", "30 * _DAY_S", "300 * _DAY_S"),
            ("LENGTH_MM", "3000.0", "30000.0"),
            ("GAP_MM", "3000.0", "30000.0"),
            ("SLUMP_MM", "300.0", "3000.0"),
            ("MASS_G", "1.0", "0.1"),
            ("MASS_G", "100000.0", "1000000.0"),
            ("HOURS", "100000.0", "1000000.0"),
            ("RATE_HZ", "0.1", "0.01"),
            ("RATE_HZ", "100000.0", "1000000.0"),
            ("LATE_US", "0.0", "-1.0"),
            ("NUMBER", "0", "-1"),
        )
    ),
    change(_LIMITS, "ANGLE_DEG", "90.0", "900.0", _SLIPS, nth=2),
    never(_LIMITS, "implausible", "not limit.low <= value <= limit.high", _BEYOND),
    change(_LIMITS, "Limit.meta", "Meta(...)", "Meta(ge=self.low)", _BEYOND),
    change(_LIMITS, "Limit.meta", "Meta(...)", "Meta(le=self.high)", _BEYOND),
    limit(_LIMITS, "BACK_S", _IN_LIMITS + "test_samples_that_go_far_back_in_time_are_refused"),
    change(
        _LIMITS,
        "_shown",
        "OverflowError",
        "KeyError",
        _IN_LIMITS + "test_a_count_of_any_size_is_refused",
    ),
]

READER: list[Guard] = [
    *(
        change("rig.files.checked", "UNREADABLE", "(ValueError, RecursionError)", error, _DAMAGED)
        for error in ("(ValueError,)", "(RecursionError,)")
    ),
    never(_READER, "header_of", "(problem := implausible(raw))", _BEYOND),
    never(
        _READER,
        "header_of",
        "header.calibration is not None and ...",
        _IN_LIMITS + "test_a_calibration_that_cannot_be_is_refused_with_its_run",
    ),
    never(_READER, "_add", "(problem := implausible_detail(parsed.detail))", _BEYOND),
    never(
        _READER, "_take_sound", "any(implausible_detail(...) for event in kinds[Event])", _BEYOND
    ),
    never(_READER, "_take_sound", "kinds[Header]", f"{_TWICE}[header]"),
    never(_READER, "_take_sound", "len(kinds[End]) > 1", f"{_TWICE}[end]"),
    never(
        _PACKED,
        "Packed.__init__",
        "np.any(np.diff(...) < -limits.BACK_S)",
        _IN_LIMITS + "test_samples_that_go_far_back_in_time_are_refused",
    ),
    never(
        _PACKED,
        "_counts_of",
        "text.translate(None, _DIGITS) != usual",
        _IN_PACKED + "test_samples_of_another_number_of_axes_are_damaged",
    ),
    change(
        _PACKED,
        "_counts_of",
        "np.int16",
        "np.int32",
        _IN_PACKED + "test_a_count_beyond_sixteen_bits_is_refused_with_its_place",
    ),
    never(
        _READER,
        "_add",
        "samples and parsed.t_s < samples[-1].t_s - BACK_S",
        _IN_LIMITS + "test_samples_that_go_far_back_in_time_are_refused",
    ),
    never(_READER, "_take_unknown", "(problem := implausible(raw))", _BEYOND),
    without(_READER, "parse_run", "raise BadInputError(refused)", _BEYOND),
    swapped(
        _READER,
        "parse_run",
        "_check_bytes(run, data)",
        "if refused: ...",
        _IN_LIMITS + "test_a_changed_file_is_said_to_be_that",
    ),
    never(_READER, "header_of", "raw.get('version') != VERSION", _NONE),
    never(_READER, "header_of", "raw.get('kind') != 'header'", _NONE),
    never(_READER, "header_of", "raw.get('format') != FORMAT", _NONE),
    never(_READER, "header_of", "not line.strip(b'\\0')", _NONE),
    change(_READER, "header_of", "line.strip(b'\\0')", "line", _NONE),
    change(_READER, "header_of", "msgspec.ValidationError", "KeyError", _HEADER),
    never(_READER, "header_of", "cut", _IN_HEADER),
    always(_READER, "header_of", "cut", _NONE),
    never(_READER, "header_of", "opening.startswith(line)", _IN_HEADER),
    never(_READER, "header_of", "line.startswith(opening)", _IN_HEADER, nth=1),
    never(_READER, "header_of", "line.startswith(opening)", _NONE, nth=2),
    change(_READER, "parse_run", "not line_feed", "False", _IN_HEADER),
    never(_READER, "read_bytes", "path.is_dir()", _MISSING),
    change(_READER, "read_bytes", "OSError", "KeyError", _MISSING),
    change(_READER, "find_runs", "raise BadInputError(...)", "pass", _MISSING),
    change(_READER, "find_runs", "f'*{SUFFIX}'", "'*'", _FOUND),
    change(_READER, "find_runs", "path.rglob(...)", "path.glob(f'*{SUFFIX}')", _FOUND),
    never(
        _READER,
        "_take",
        r"line.strip(b'\0 \r') == b''",
        _IN_READER + "test_a_line_of_zeros_is_called_empty",
    ),
    never(_READER, "_add", "run.end is not None", f"{_TWICE}[end]"),
    change(_READER, "_add", "'it is a second header'", "None", f"{_TWICE}[header]"),
    never(_READER, "_take_unknown", "kind not in _TYPES", _LATER),
    never(_READER, "_take_unknown", "not isinstance(kind, str)", _DAMAGED),
    without(_READER, "_take_unknown", "run.unknown.append(raw)", _LATER),
    without(_READER, "parse_run", "run.unknown += _unknown_keys(first)", _LATER),
    without(_READER, "_take_unknown", "run.unknown += _unknown_keys(line)", _LATER),
    *(
        change(_MODEL, kind, "True", "False", _LATER, nth=3)
        for kind in ("Event", "Samples", "Climate")
    ),
    without(_READER, "parse_run", "run.problems.append(...)", _DAMAGED),
    change(
        _READER,
        "_take_sound",
        "sum(...) != rest.count(...) + (not rest.endswith(...))",
        "False",
        _IN_READER + "test_a_line_of_zeros_is_called_empty",
    ),
    never(_READER, "_take_all", "is_last", _TORN_END, nth=2),
    without(_READER, "parse_run", "_check_end(...)", _FAR),
    change(
        _READER,
        "parse_run",
        "data.count(b'\\n') - data.endswith(b'\\n')",
        "data.count(b'\\n')",
        _IN_READER + "test_what_was_written_is_read",
    ),
    never(_READER, "_check_end", "run.end is None", _FAR),
    never(
        _READER,
        "_check_end",
        "run.end.lines != before",
        _IN_READER + "test_a_lost_line_is_told",
    ),
    *(
        change(_READER, "RunFile.last_time_s", part, "()", f"{_FAR}[{row}]")
        for part, row in (
            ("self.events[-1:]", "4-in state raising at 5.00 s"),
            ("self.samples[-1:]", "14-in state raising at 5.90 s"),
        )
    ),
    change(_READER, "_check_end", "states[-1]", "states[0]", _FAR),
    change(_READER, "RunFile.last_time_s", "max(...)", "min(times, default=None)", _FAR),
    inverted(
        _READER,
        "RunFile.interrupted",
        "self.end is None",
        _IN_READER + "test_what_was_written_is_read",
    ),
    change(
        _READER,
        "RunFile.samples_arrays",
        "kept is None or kept.of != self.samples",
        "kept is None",
        _IN_READER + "test_other_samples_give_other_arrays",
    ),
    never(_PACKED, "_arranged", "np.any(np.diff(t_s) < 0)", _ORDER),
    change(_PACKED, "_arranged", "counts[order]", "counts", _ORDER),
    change(
        _PACKED,
        "_arranged",
        "'stable'",
        "'heapsort'",
        _IN_READER + "test_samples_of_the_same_time_stay_in_the_order_of_their_lines",
    ),
    change(
        _READER,
        "RunFile.steps_arrays",
        "count[order]",
        "count",
        _IN_READER + "test_steps_that_came_out_of_order_are_put_in_order",
    ),
    change(
        _READER,
        "RunFile.first_event",
        "self.events",
        "reversed(self.events)",
        _IN_READER + "test_the_first_event_of_a_name_counts",
    ),
]

_WRITER = "rig.runfile.writer"
_IN_WRITER = _TESTS + "writer.py::"
_CUT = "tests/durability/test_power_cut.py::"
_POWER = _CUT + "test_a_run_file_keeps_its_name_each_state_and_its_end"
_LOCKED = (
    "tests/durability/test_locks.py::test_a_line_is_written_whole_before_the_next_thread_comes"
)
_SYNCED = _IN_WRITER + "test_state_changes_and_the_end_are_synced"
_IDS = _IN_WRITER + "test_run_ids_sort_by_time_and_are_unique"
_FAILED = _IN_WRITER + "test_a_failed_write_is_told_and_the_rest_stays_readable"
_WHY = _IN_WRITER + "test_says_why_the_file_cannot_be_made"
_NOT_KEPT = _IN_WRITER + "test_an_end_that_is_not_kept_is_told_and_the_file_is_closed"
_TWO = _IN_WRITER + "test_lines_that_were_torn_one_after_the_other_are_counted"

WRITER: list[Guard] = [
    without(_WRITER, "RunWriter.write", "self._sync()", _SYNCED),
    always(
        _WRITER,
        "RunWriter.write",
        "isinstance(line, Event) and line.event == 'state'",
        _IN_WRITER + "test_other_events_are_not_synced",
    ),
    without(_WRITER, "RunWriter.end", "self._sync()", _SYNCED),
    swapped(_WRITER, "RunWriter.end", "self._append(...)", "self._sync()", _POWER),
    without(_WRITER, "RunWriter.__init__", "self._files.sync_folder(path.parent)", _SYNCED),
    without(_WRITER, "OsFiles.sync", "sync_file(descriptor)", _POWER),
    without(_WRITER, "OsFiles.sync_folder", "sync_folder(folder)", _POWER),
    change(
        _WRITER,
        "OsFiles.create",
        "make_folder(path.parent)",
        "path.parent.mkdir(parents=True, exist_ok=True)",
        _POWER,
    ),
    change(
        _WRITER,
        "OsFiles.create",
        "os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_APPEND",
        "os.O_WRONLY | os.O_CREAT | os.O_APPEND",
        _IN_WRITER + "test_never_writes_over_a_file",
    ),
    change(
        _WRITER,
        "OsFiles.create",
        "os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_APPEND",
        "os.O_WRONLY | os.O_CREAT | os.O_EXCL",
        _IN_WRITER + "test_a_line_goes_to_the_end_whatever_else_was_written_there",
    ),
    change(
        _WRITER,
        "RunWriter.__init__",
        "threading.Lock()",
        "__import__('contextlib').nullcontext()",
        _LOCKED,
    ),
    never(
        _WRITER,
        "RunWriter.end",
        "self._descriptor is None",
        _IN_WRITER + "test_no_end_after_closing",
    ),
    without(_WRITER, "RunWriter.end", "self._close()", _NOT_KEPT),
    change(
        _WRITER,
        "RunWriter.end",
        "self._lines + self._torn",
        "self._lines",
        f"{_FAILED}[16-9]",
    ),
    without(
        _WRITER,
        "RunWriter.__exit__",
        "self.close()",
        _IN_WRITER + "test_each_line_is_on_disk_as_soon_as_it_is_written",
    ),
    never(
        _WRITER,
        "RunWriter._append",
        "self._descriptor is None",
        _IN_WRITER + "test_writing_after_the_end_is_a_fault",
    ),
    never(_WRITER, "RunWriter._append", "self._torn", f"{_FAILED}[2-9]", nth=1),
    change(
        _WRITER,
        "RunWriter._append",
        "while written < len(data): ...",
        "self._files.write(self._descriptor, data)",
        _IN_WRITER + "test_short_writes_are_completed",
    ),
    never(
        _WRITER,
        "RunWriter._append",
        "taken <= 0",
        _IN_WRITER + "test_a_system_that_takes_nothing_is_a_fault",
    ),
    without(_WRITER, "RunWriter._append", "self._lines += self._torn", f"{_TWO}[9-2]"),
    change(
        _WRITER,
        "RunWriter._append",
        "self._torn = not (self._torn and written == 1)",
        "self._torn = True",
        f"{_TWO}[1-1]",
    ),
    without(_WRITER, "RunWriter._append", "self._torn = False", _FAILED),
    change(_WRITER, "RunWriter._append", "1 + self._torn", "1", _FAILED),
    change(_WRITER, "RunWriter._append", "OSError", "KeyError", _FAILED, nth=2),
    change(_WRITER, "RunWriter._sync", "OSError", "KeyError", f"{_NOT_KEPT}[sync]"),
    change(_WRITER, "RunWriter._close", "OSError", "KeyError", f"{_NOT_KEPT}[close]"),
    without(
        _WRITER,
        "RunWriter.__init__",
        "self._abandon()",
        _IN_WRITER + "test_a_file_whose_name_cannot_be_kept_is_closed",
        nth=1,
    ),
    without(_WRITER, "RunWriter.__init__", "self._abandon()", _WHY, nth=2),
    change(
        _WRITER,
        "RunWriter.__init__",
        "FileExistsError",
        "KeyError",
        _IN_WRITER + "test_never_writes_over_a_file",
    ),
    change(_WRITER, "RunWriter.__init__", "OSError", "KeyError", _WHY),
    change(_WRITER, "RunWriter.__init__", "MachineFaultError", "KeyError", _WHY),
    change(_WRITER, "new_run_id", "utc.astimezone(UTC)", "utc", _IDS),
    change(_WRITER, "run_folder", "utc.astimezone(UTC)", "utc", _IDS),
    change(_WRITER, "new_run_id", "secrets.token_hex(3)", "'0'", _IDS),
]

ENTRIES: list[Guard] = [*LIMITS, *MODEL, *READER, *WRITER]
