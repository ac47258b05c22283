"""Guards of quantities and names: unit factors, what is refused, what is said in which units."""

from tests.guards.entry import Guard, always, change, inverted, limit, never, without

_UNITS, _TYPED, _SHOWN = "rig.quantities.units", "rig.quantities.typed", "rig.quantities.shown"
_TIMES, _SAID, _FIGURES = "rig.quantities.times", "rig.quantities.said", "rig.quantities.figures"
_NAMES, _RUN_NAMES, _OPTIONS = (
    "rig.study.folder.names",
    "rig.commands.run.names",
    "rig.commands.quantities",
)

_IN_TYPED, _IN_SHOWN = (f"tests/quantities/test_{name}.py::test_" for name in ("typed", "shown"))
_IN_RUN_NAMES = "tests/commands/test_run_names.py::test_"
_IN_OPTIONS = "tests/commands/test_quantities.py::test_"

_CONVERTED = _IN_TYPED + "other_units_are_converted"
_EXACT = _IN_TYPED + "inch_and_pound_are_exact_since_1959"
_ECHO = _IN_TYPED + "what_was_not_typed_as_it_is_kept_is_said"
_LIMITS = _IN_TYPED + "limits_are_allowed_themselves"
_COMMA = _IN_TYPED + "a_comma_that_may_mean_two_things_is_refused"
_SEMICOLONS = _IN_TYPED + "a_comma_in_a_table_with_semicolons_stands_before_decimals"
_TWENTY = _IN_TYPED + "a_number_has_twenty_characters_at_most"
_NO_COMPUTER = _IN_TYPED + "what_a_computer_calls_a_number_is_none"
_NOTHING = _IN_TYPED + "what_is_no_quantity_is_refused"
_TOLERANCE = _IN_TYPED + "a_tolerance_stands_behind_a_colon"
_APART = _IN_TYPED + "a_tolerance_is_a_difference_in_the_unit_of_its_value"
_LONG = _IN_TYPED + "a_long_text_is_cut_in_the_refusal"
_BOTH = _IN_SHOWN + "a_quantity_in_both_systems"
_SIGNS = _IN_SHOWN + "signs_are_true_and_nothing_has_none"
_SENTENCE = _IN_SHOWN + "a_sentence_is_worded_from_its_quantities_and_leaves_names_alone"
_FILES = _IN_SHOWN + "a_sentence_is_a_plain_text_in_files"
_UTC = "tests/quantities/test_times.py::test_times_are_kept_in_utc"
_TODAY = "tests/quantities/test_times.py::test_today_is_the_local_day"
_NO_TIME = "tests/quantities/test_times.py::test_what_is_no_time_is_refused"
_OTHER_NAME = _IN_RUN_NAMES + "another_name_is_refused_and_new_takes_it"
_AT_TERMINAL = _IN_RUN_NAMES + "at_a_terminal_a_person_may_say_that_a_name_is_new"
_BESIDE = _IN_RUN_NAMES + ("the_study_is_that_of_the_run_files_and_else_that_of_the_working_folder")
_JOURNAL = "tests/study/test_note.py::test_a_name_in_the_journal_can_be_seen_and_compared"
_NO_TEXT = "tests/study/test_note.py::test_a_note_that_is_no_text_is_refused"
_CSV = "tests/commands/test_correct.py::test_a_spreadsheet_with_commas_in_numbers_is_read"
_BAD_LINE = "tests/commands/test_correct.py::test_one_bad_line_and_nothing_is_taken"
_LIKE = "tests/study/answer/test_typed.py::test_the_air_to_be_like_is_taken_as_people_type_it"
_COMMANDS = "tests/report/test_units_shown.py::test_names_stay_and_quantities_are_converted"
_PAGE = "tests/report/test_units_shown.py::test_the_report_keeps_names_and_converts_quantities"
_PAPER = "tests/commands/test_answer.py::test_the_sheet_is_a_file_or_text"
_CATALOGUE = "tests/study/test_catalogue_file.py::test_"

_TYPED_UNITS: list[Guard] = [
    *(
        limit(_UNITS, name, *tests, times=times)
        for name, *tests in (
            ("INCH_MM", _CONVERTED, _EXACT, _BOTH),
            ("POUND_G", _CONVERTED, _EXACT),
            ("OUNCE_G", _CONVERTED, _EXACT, _BOTH),
            ("INCH_OF_MERCURY_HPA", _BOTH),
            ("FAHRENHEIT_PER_K", _CONVERTED, _BOTH),
            ("FREEZING_F", _CONVERTED, _BOTH),
            ("FREEZING_K", _CONVERTED),
            ("RADIAN_DEG", _CONVERTED),
        )
        for times in (1.01, 0.99)
    ),
    *(
        change(_UNITS, "_SECONDS", old, f"1.01 * {old}", _CONVERTED)
        for old in ("60.0", "3600.0", "86400.0")
    ),
    change(_UNITS, "UNITS", "1000.0", "100.0", _CONVERTED),
    change(_UNITS, "UNITS", "10.0", "100.0", _CONVERTED),
    change(_UNITS, "UNITS", "_F_APART", "_FAHRENHEIT", _CONVERTED),
    change(_UNITS, "UNITS", "-FREEZING_K", "FREEZING_K", _CONVERTED),
    change(_UNITS, "_FAHRENHEIT", "-FREEZING_F / FAHRENHEIT_PER_K", "FREEZING_F / 1.8", _CONVERTED),
    change(_UNITS, "_times", "one.factor / unit_s", "one.factor", _CONVERTED),
]

_WHAT_IS_TYPED: list[Guard] = [
    *(limit(_TYPED, "LONGEST", _TWENTY, times=times) for times in (2, 0.5)),
    limit(_TYPED, "LEAST_TOLERANCE", _TOLERANCE),
    limit(_TYPED, "LEAST_TOLERANCE", _TOLERANCE, times=0.5),
    never(_TYPED, "number", "len(text) > LONGEST", _TWENTY),
    never(_TYPED, "number", "not re.fullmatch(_NUMBER, text)", _NO_COMPUTER),
    never(_TYPED, "number", "',' in text and ...", _COMMA),
    never(_TYPED, "number", "_THOUSANDS.fullmatch(text)", _COMMA),
    change(_TYPED, "number", "not decimal_comma and ...", "is_mixed or _THOUSANDS", _SEMICOLONS),
    change(_TYPED, "number", "text.count(',') > 1", "False", _COMMA),
    never(_TYPED, "quantity", "found is None", _NOTHING),
    never(_TYPED, "quantity", "not low <= found.value <= high", _LIMITS),
    change(_TYPED, "quantity", "low <= found.value <= high", "found.value <= high", _LIMITS),
    change(_TYPED, "quantity", "low <= found.value <= high", "low <= found.value", _LIMITS),
    change(_TYPED, "quantity", "low <= found.value <= high", "low < found.value < high", _LIMITS),
    never(_TYPED, "_read", "value is None or typed is None", _NOTHING),
    change(_TYPED, "_read", "typed.factor", "1.0", _CONVERTED),
    change(_TYPED, "_read", "typed.offset", "0.0", _CONVERTED),
    change(_TYPED, "_read", "typed == KEPT and ',' not in match[1]", "typed == KEPT", _ECHO),
    change(_TYPED, "_read", "typed == KEPT and ',' not in match[1]", "True", _ECHO),
    change(_TYPED, "with_tolerance", "'K' if unit == '°C' else unit", "unit", _APART),
    never(_TYPED, "with_tolerance", "match is not None and is_bare(second)", _APART),
    change(_TYPED, "with_tolerance", "high - low", "high", _TOLERANCE),
    change(_TYPED, "_cut", "len(text) <= 2 * LONGEST", "True", _LONG),
    change(_TIMES, "utc_of", "now.astimezone(clock.tzinfo)", "now", _TODAY),
    change(_TIMES, "utc_of", "(ValueError, OverflowError)", "KeyError", _NO_TIME),
    change(_TIMES, "utc_of", "text[1:2] == ':'", "False", _UTC, nth=1),
    without(
        _OPTIONS,
        "echoed",
        "say(f'{option}: {found.shown}.')",
        _IN_OPTIONS + "what_was_converted_is_said_on_stderr",
    ),
    never(
        _OPTIONS,
        "echoed",
        "not found.is_plain",
        _IN_OPTIONS + "what_was_converted_is_said_on_stderr",
    ),
    always(
        _OPTIONS,
        "echoed",
        "not found.is_plain",
        _IN_OPTIONS + "what_was_typed_as_it_is_kept_is_not_said",
    ),
]

_WHAT_IS_SHOWN: list[Guard] = [
    inverted(_SHOWN, "system", "name == 'us'", _BOTH),
    change(_SHOWN, "US", "value * FAHRENHEIT_PER_K + FREEZING_F", "value * 1.8", _BOTH),
    change(_SHOWN, "US", "value * FAHRENHEIT_PER_K", "value * 1.8 + 32.0", _BOTH, nth=2),
    change(_SHOWN, "Shown.figure", "int(digits[:-1]) + self.more_digits", "digits[:-1]", _BOTH),
    change(_SHOWN, "Shown.text", "value is None", "False", _BOTH),
    change(_FIGURES, "figure", "text.replace('-', '−')", "text", _SIGNS),
    change(_FIGURES, "figure", "text.lstrip('+-')", "text", _SIGNS),
    change(_SAID, "worded", "text.text(units)", "str(text)", _SENTENCE),
    change(_SAID, "_filled", "part.text(units)", "part.text('metric')", _SENTENCE),
    change(_SAID, "Said.__new__", "'metric'", "'us'", _SENTENCE),
    change(_SAID, "Said.__reduce__", "(self._template, *self._parts)", "(str(self),)", _FILES),
    never(_SAID, "Amount.text", "self.has_unit", _SENTENCE),
    change(
        "rig.commands.asking",
        "_read_air",
        "system(units)",
        "system('metric')",
        "tests/commands/test_answer.py::test_without_typed_air_the_rig_is_asked[choose]",
    ),
    change("rig.study.answer.words", "air_words", "system(units)", "system('metric')", _COMMANDS),
    *(
        change("rig.report.sheet", place, "system(units)", "system('metric')", _PAPER)
        for place in ("_row", "_steps")
    ),
    change("rig.report.page", "render", "worded(node.value or '', units)", "str(node)", _PAGE),
]

_NAMES_OF_PEOPLE: list[Guard] = [
    never(_RUN_NAMES, "check_names", "name is not None and ...", _OTHER_NAME),
    change(_RUN_NAMES, "check_names", "bag in bags", "False", _OTHER_NAME),
    never(_RUN_NAMES, "check_names", "new", _OTHER_NAME),
    never(_RUN_NAMES, "_unknown", "near is not None", _OTHER_NAME, _AT_TERMINAL),
    never(_RUN_NAMES, "_unknown", "not sys.stdin.isatty()", _OTHER_NAME),
    never(
        _RUN_NAMES, "_unknown", "sys.stdin.readline().strip().casefold() not in ...", _AT_TERMINAL
    ),
    change(
        _RUN_NAMES,
        "study_beside",
        "study_above(folder.absolute()) or study_above(Path.cwd())",
        "study_above(folder.absolute())",
        _BESIDE,
    ),
    change(
        _RUN_NAMES,
        "study_beside",
        "study_above(folder.absolute()) or study_above(Path.cwd())",
        "study_above(Path.cwd())",
        _BESIDE,
    ),
    without(
        "rig.commands.run.run",
        "run",
        "check_names(...)",
        _IN_RUN_NAMES + "a_run_with_a_misspelt_bag_makes_no_file",
    ),
    *(
        change(
            "rig.files.names",
            "_UNSAFE",
            repr(one),
            "'xx'",
            "tests/files/test_names.py::test_what_cannot_be_seen_is_refused",
        )
        for one in ("Cc", "Cf", "Cs", "Co", "Cn", "Zl")
    ),
    change(
        "rig.files.names",
        "nearest",
        "name.casefold()",
        "name",
        "tests/files/test_names.py::test_the_nearest_name_is_found_in_large_and_small_letters",
    ),
    change("rig.study.slides.from_csv", "_rows", "';' in head", "False", _CSV),
    change("rig.study.slides.from_csv", "_number", "has_decimal_comma", "False", _CSV),
    change(
        "rig.study.slides.from_csv", "_line", "safe_name(row[name], name)", "row[name]", _BAD_LINE
    ),
    *(
        change("rig.study.answer.typed", "like_of", old, new, _LIKE)
        for old, new in (
            ("ASKED_AIR_C", "('°C', -20.0, 500.0)"),
            ("HUMIDITY_PCT", "('%', 0.0, 1000.0)"),
            ("safe_name(bag, 'bag')", "bag"),
        )
    ),
    change("rig.study.answer.typed", "_reading", "safe_name(bag, 'bag')", "bag", _LIKE),
    change(_NAMES, "writable", "UnicodeEncodeError", "KeyError", _NO_TEXT),
    change(_NAMES, "with_safe_names", "safe_name(text, name)", "text", _JOURNAL),
    change("rig.study.folder.study", "Study.note", "with_safe_names(entry)", "entry", _JOURNAL),
    without(
        "rig.study.folder.catalogue_file",
        "_check",
        "safe_name(name, what)",
        _CATALOGUE + "a_name_that_cannot_be_seen_is_refused",
    ),
    change(
        "rig.study.folder.catalogue_file",
        "parse_catalogue",
        "composed(text)",
        "text",
        _CATALOGUE + "names_are_compared_in_their_composed_form",
    ),
    change(
        _OPTIONS,
        "_safe",
        "safe_name(given, what)",
        "given",
        _IN_OPTIONS + "what_a_run_does_not_take",
    ),
]

ENTRIES: list[Guard] = [*_TYPED_UNITS, *_WHAT_IS_TYPED, *_WHAT_IS_SHOWN, *_NAMES_OF_PEOPLE]
