"""Guards of what shows that a file was changed, and of stamps and names."""

from tests.guards.entry import Guard, change, limit, never, without

_CHECKED, _STAMPS = "tests/files/test_checked.py::test_", "tests/files/test_stamps.py::test_"
_NAMES, _RUN = "tests/files/test_names.py::test_", "tests/runfile/test_check.py::test_"
_ANALYSED = "tests/study/slides/test_analysed.py::test_"
_OLDER = "tests/commands/test_older.py::test_"
_ONCE = "tests/commands/test_report.py::test_each_run_file_is_opened_once"
_TABLE = "tests/study/slides/test_table.py::test_"
_NOTE = "tests/study/test_note.py::test_"
_TEXT, _IN_TEXT = "rig.files.text", "tests/files/test_text.py::test_"
_MARK = _IN_TEXT + "a_byte_order_mark_is_no_letter"
_SENTENCE = _IN_TEXT + "what_cannot_be_read_is_a_sentence"
_CELLS = "tests/files/test_cells.py::test_"
_PLAN = (
    "tests/study/test_plan.py::test_a_note_that_a_spreadsheet_would_run_is_escaped_and_read_back"
)
_BYTE = _CHECKED + "every_changed_byte_is_seen"

ENTRIES: list[Guard] = [
    change(
        "rig.files.cells",
        "safe_cell",
        "_RUNS.match(cell)",
        "False",
        _CELLS + "every_text_comes_back",
    ),
    change(
        "rig.files.cells",
        "_RUNS",
        "re.compile(...)",
        're.compile(r"[=+\\-@\\t\\r]")',
        _CELLS + "every_text_comes_back",
    ),
    never(
        "rig.files.cells", "plain_cell", "_ESCAPED.match(text)", _CELLS + "every_text_comes_back"
    ),
    change(
        "rig.study.export",
        "csv_text",
        "safe_cell(cell)",
        "cell",
        "tests/study/test_export.py::test_a_name_that_a_spreadsheet_would_run_is_escaped",
    ),
    change(
        "rig.analysis.table",
        "csv_text",
        "safe_cell(cell)",
        "cell",
        "tests/analysis/test_results.py::test_the_table_is_tidy",
    ),
    change("rig.study.plan.rows", "plan_text", "safe_cell(cell)", "cell", _PLAN),
    change("rig.study.plan.rows", "_parse", "plain_cell(cell.strip())", "cell.strip()", _PLAN),
    change("rig.files.checked", "verdict", "crc32(...) == int(...)", "True", _BYTE),
    never(
        "rig.files.checked",
        "verdict",
        "b'\"check\"' in line[-24:]",
        _CHECKED + "a_damaged_check_does_not_pass_for_an_older_line",
    ),
    change(
        _TEXT, "read_text", '"utf-8-sig"', '"utf-8"', _IN_TEXT + "a_byte_order_mark_is_no_letter"
    ),
    change(_TEXT, "read_text", "OSError", "KeyError", _SENTENCE),
    change(_TEXT, "read_text", "isinstance(error, FileNotFoundError)", "True", _SENTENCE),
    change(
        _TEXT,
        "read_text",
        "UnicodeDecodeError",
        "KeyError",
        _IN_TEXT + "bytes_that_are_no_text_are_named_by_their_line",
    ),
    limit("rig.files.stamps", "SLACK", _STAMPS + "a_clock_behind_the_study_is_refused"),
    never(
        "rig.files.stamps",
        "check_wall_clock",
        "now < EARLIEST",
        _STAMPS + "a_clock_that_was_never_set_is_refused",
    ),
    never(
        "rig.files.stamps",
        "check_wall_clock",
        "now < made - SLACK",
        _STAMPS + "a_clock_behind_the_study_is_refused",
    ),
    never(
        "rig.files.stamps",
        "parse_utc",
        "time.tzinfo is None",
        _STAMPS + "what_is_no_stamp_is_refused",
    ),
    never(
        "rig.files.names",
        "safe_name",
        "kind is not None",
        _NAMES + "what_cannot_be_seen_is_refused",
    ),
    limit("rig.files.names", "LONGEST", _NAMES + "length_and_first_character"),
    never(
        "rig.runfile.reader",
        "_check_bytes",
        "f'{crc32(before):08x}' != run.end.check",
        _RUN + "a_digit_of_a_sample_is_named_as_a_change",
    ),
    without(
        "rig.runfile.reader",
        "parse_run",
        "_check_bytes(...)",
        _RUN + "no_changed_byte_before_the_last_line_is_taken",
    ),
    never(
        "rig.study.folder.study",
        "Study.note",
        "parse_utc(entry.at) > now + SLACK",
        _NOTE + "a_time_in_the_future_is_refused",
    ),
    without(
        "rig.study.folder.study",
        "Study.note",
        "check_wall_clock(...)",
        _NOTE + "a_clock_that_was_never_set_notes_nothing",
    ),
    never(
        "rig.study.plan.rows",
        "read_plan",
        "'\\0' in text",
        _NOTE + "a_plan_with_bytes_missing_is_refused",
    ),
    change(
        "rig.study.answer.build",
        "_counts",
        "slide.bag not in table.blocked",
        "True",
        "tests/study/answer/test_answer.py::test_the_reference_bag_and_bags_in_doubt_have_no_part",
    ),
    without(
        "rig.study.answer.ask",
        "ask",
        "table.check_answers()",
        _TABLE + "a_line_whose_bag_cannot_be_read_blocks_all",
    ),
    change(
        "rig.study.slides.table",
        "_corrected",
        "row.valid and not entry.void",
        "row.valid",
        _TABLE + "a_voided_slide_does_not_count_but_wore_the_bag",
    ),
    change(
        "rig.study.slides.table",
        "_with_history",
        "before + row.slid",
        "before + 1",
        _TABLE + "slides_before_are_real_slides_of_that_face",
    ),
    change(
        "rig.study.slides.table",
        "_stage",
        "is_noted or row.stage is None",
        "row.stage is None",
        _TABLE + "the_journal_alone_says_what_was_done",
    ),
    without(
        "rig.study.slides.analysed",
        "_of_study",
        "table.check_answers()",
        _ANALYSED + "a_bag_in_doubt_has_no_valid_run_and_a_line_about_any_bag_blocks_all",
    ),
    change(
        "rig.study.slides.analysed",
        "_of_study",
        "slide.result.valid and not is_blocked",
        "slide.result.valid",
        _ANALYSED + "a_bag_in_doubt_has_no_valid_run_and_a_line_about_any_bag_blocks_all",
    ),
    change(
        "rig.study.slides.results",
        "results_of",
        "contents is None and ...",
        "len(paths) - len(kept) >= MANY",
        _ONCE,
    ),
    change(
        "rig.study.slides.look",
        "Contents.run",
        "read_bytes(path) if data is None else data",
        "read_bytes(path)",
        _ONCE,
    ),
    without(
        "rig.commands.asking",
        "asked",
        "say(problem)",
        "tests/commands/test_answer.py::test_a_run_that_was_cut_off_is_told[choose]",
    ),
    change(
        "rig.twin.rig",
        "TwinRig.write_truth",
        "OSError",
        "KeyError",
        "tests/commands/test_small_disk.py"
        "::test_without_inodes_a_series_on_the_twin_ends_with_a_sentence",
    ),
    change(
        "rig.runfile.reader",
        "RunFile.is_unchecked",
        "self.end.check is None",
        "False",
        _OLDER + "status_says_once_that_there_is_no_checksum[rig_only]",
    ),
    without(
        "rig.study.folder.journal_file",
        "_take",
        "journal.unchecked += line.verdict == 'unchecked'",
        _OLDER + "status_says_once_that_there_is_no_checksum[by_hand]",
    ),
    change(
        "rig.study.slides.results",
        "_load",
        "entry[:DIGEST] == _digest(...)",
        "True",
        "tests/study/slides/test_results.py::test_a_flipped_bit_in_a_kept_result_is_seen",
    ),
]
