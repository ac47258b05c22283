"""Guards of a simulated rig's home: one clock, one process at a time, slides where they belong."""

from tests.guards.entry import Guard, always, change, never, without

_HOME, _OPENING, _HERE = "rig.twin.home", "rig.opening", "rig.files.time_here"
_IN_HOME, _IN_OPENING = "tests/twin/test_home.py::", "tests/test_opening.py::"
_CLOCK = _IN_HOME + "test_all_of_a_folder_goes_by_one_clock"
_NO_CLOCK = _IN_HOME + "test_a_clock_that_can_not_be_read_is_no_clock"
_NEWER = _IN_HOME + "test_a_newer_home_is_refused"
_ONCE = _IN_HOME + "test_a_home_is_made_once_and_settings_are_left_alone"
_ALONE = _IN_HOME + "test_one_process_at_a_time_changes_it"
_UNWRITTEN = _IN_HOME + "test_what_cannot_be_written_is_not_believed"
_PAST = _IN_HOME + "test_journals_say_what_a_bag_has_been_through"
_EACH_FACE = _IN_HOME + "test_slides_are_counted_for_each_face"
_TOLD_ONCE = _IN_HOME + "test_an_invented_effect_is_said_once_and_kept"
_AIR = _IN_HOME + "test_air_is_kept_or_planned_or_the_weather"
_BACK = _IN_OPENING + "test_time_goes_on_at_home_and_never_back"
_KEEPS = _IN_OPENING + "test_an_open_twin_keeps_its_home_from_others"
_LEAVES = _IN_OPENING + "test_a_machine_that_does_not_open_leaves_the_home_to_others"
_REMEMBERS = _IN_OPENING + "test_slides_are_remembered_after_each_run"
_TAKES = _IN_OPENING + "test_bags_that_are_taken_one_after_another_keep_their_own_slides"
_PAGE = "tests/panel/study/test_pages.py::"
_DESK = "tests/panel/test_desk.py::"
_SHEET = "tests/commands/test_answer.py::test_the_sheet_is_a_file_or_text"

ENTRIES: list[Guard] = [
    # -- one clock
    never(_HERE, "home_above", "(folder / HOME_NAME).is_file()", _CLOCK),
    change(_HERE, "home_above", "(start, *start.parents)", "(start,)", _CLOCK),
    always(_HERE, "now_in", "home is None", _CLOCK),
    change(_HERE, "now_in", "(OSError, ValueError, KeyError, TypeError)", "OSError", _NO_CLOCK),
    never(_HOME, "Home.wait", "until > self.now", _CLOCK),
    always(_HOME, "Home.wait", "until > self.now", _CLOCK),
    change(_HOME, "Home.slid", "max(now, self.now)", "now", _EACH_FACE),
    never(_OPENING, "_open_twin", "utc is not None and utc < home.now", _BACK),
    change(
        "rig.panel.study.book",
        "Book.__init__",
        "lambda: now_in(path)",
        "lambda: datetime.now().astimezone()",
        _PAGE + "test_notes_on_a_simulated_rigs_study_go_by_its_clock",
    ),
    change("rig.commands.sheet", "sheet", "now_in(study)", "now_in(Path('/'))", _SHEET),
    # -- what is remembered
    never(_HOME, "Home._read", "state.format != FORMAT or state.version > VERSION", _NEWER),
    never(_HOME, "new_home", "(folder / HOME_NAME).exists()", _ONCE),
    never(_HOME, "new_home", "not (folder / 'rig.toml').exists()", _ONCE),
    change(_HOME, "past_of", "one.at <= now", "True", _PAST, nth=1),
    change(_HOME, "past_of", "one.at <= now", "True", _PAST, nth=2),
    never(_HOME, "Home.invent", "name in shares.get(recipe, {})", _TOLD_ONCE),
    never(_HOME, "Home.air", "kept is not None", _AIR),
    without(_OPENING, "OpenRig.write_truth", "self._remember()", _REMEMBERS),
    change(
        _OPENING, "OpenRig._remember", "self._slid() - self._slid_before", "self._slid()", _TAKES
    ),
    without(_OPENING, "OpenRig.take_bag", "self._remember()", _TAKES),
    without(_OPENING, "OpenRig.take_bag", "self.twin.world.place_bag(...)", _TAKES),
    change(
        "rig.panel.desk",
        "Desk._one",
        "self._opened.take_bag(...)",
        "[]",
        _DESK + "test_the_twin_takes_each_bag_of_an_evening",
    ),
    # -- one process at a time
    without(_HOME, "Home.hold", "self._lock.open()", _ALONE),
    never(_HOME, "Home.hold", "self._read() != self.state", _ALONE),
    without(_HOME, "Home.hold", "self.let_go()", _ALONE),
    without(_HOME, "Home.let_go", "self._lock.close()", _ALONE),
    without(_HOME, "Home._held", "self.hold()", _ALONE),
    without(_OPENING, "OpenRig.__enter__", "self._home.hold()", _KEEPS),
    without(_OPENING, "OpenRig.__enter__", "self._home.let_go()", _LEAVES),
    without(_OPENING, "OpenRig.__exit__", "self._home.let_go()", _KEEPS),
    change(_HOME, "Home.keep", "OSError", "KeyError", _UNWRITTEN),
]
