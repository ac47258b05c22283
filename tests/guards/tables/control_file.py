"""Guards of what a run writes, of its states, and of signals."""

from tests.guards.entry import Guard, always, change, limit, never, swapped, without

_C = "rig.control."
_T = "tests/control/test_"
_INTERLOCKS, _INTERLOCKS_TEST = _C + "interlocks", _T + "interlocks.py::test_"
_RECORDER, _RECORDER_TEST = _C + "recorder", _T + "recorder.py::test_"
_SIGNALS = _C + "process.signals"
_SIGNALLED = "tests/control/process/test_signals.py::test_"
_SIGNALS_TEST = _SIGNALLED + "a_signal_becomes_a_stop_request_and_ends_the_program_after_it"
_QUICK = _SIGNALLED + "signals_in_quick_succession_leave_the_machine_its_time"
_ONCE = _SIGNALLED + "without_a_machine_a_signal_raises_once"
_HUNG = _SIGNALLED + "a_program_that_hangs_is_broken_off_by_a_signal_three_seconds_later"
_STATES = _C + "states"
_NO_LOCK = "__import__('contextlib').nullcontext()"
_WAITS = _RECORDER_TEST + "while_one_task_writes_all_others_wait"

ENTRIES: list[Guard] = [
    # -- the file of a run --------------------------------------------------------------------
    limit(
        _RECORDER,
        "MAX_SAMPLES_PER_LINE",
        _RECORDER_TEST + "a_line_holds_a_quarter_of_a_second_of_the_raise",
    ),
    limit(
        _RECORDER,
        "IDLE_LINE_S",
        _RECORDER_TEST + "outside_of_the_raise_a_line_holds_two_seconds",
    ),
    change(
        _RECORDER,
        "Recorder._keep",
        "0.25 * self._dt_s",
        "0.5 * self._dt_s",
        _RECORDER_TEST + "a_sample_that_is_a_quarter_of_its_gap_early_or_late_starts_a_new_line",
    ),
    change(
        _RECORDER,
        "Recorder._keep",
        "abs(t_s - expected)",
        "t_s - expected",
        _RECORDER_TEST + "a_sample_that_is_a_quarter_of_its_gap_early_or_late_starts_a_new_line",
    ),
    change(
        _RECORDER,
        "Recorder._keep",
        "abs(t_s - expected)",
        "expected - t_s",
        _RECORDER_TEST + "a_sample_that_is_a_quarter_of_its_gap_early_or_late_starts_a_new_line",
    ),
    without(
        _RECORDER,
        "Recorder.enter",
        "self._flush_samples()",
        _RECORDER_TEST + "what_was_sampled_is_written_before_the_next_state",
    ),
    swapped(
        _RECORDER,
        "Recorder.enter",
        "self._flush_samples()",
        "self.event('state', at_s, state=state)",
        _RECORDER_TEST + "what_was_sampled_is_written_before_the_next_state",
    ),
    without(
        _RECORDER,
        "Recorder.end",
        "self._flush_samples()",
        _RECORDER_TEST + "what_was_sampled_is_written_before_the_next_state",
    ),
    without(
        _RECORDER,
        "Recorder.enter",
        "check_transition(self.state, state, self._allowed)",
        _RECORDER_TEST + "a_state_that_may_not_follow_is_not_written",
    ),
    without(
        _RECORDER,
        "Recorder.end",
        "self._is_open = False",
        _RECORDER_TEST + "flags_are_kept_once_and_the_end_closes_the_file",
    ),
    without(
        _RECORDER,
        "Recorder._write",
        "self._is_open = False",
        _RECORDER_TEST + "a_disk_that_fails_is_told_once_and_then_left_alone",
    ),
    without(
        _RECORDER,
        "Recorder._write",
        "self._writer.close()",
        _RECORDER_TEST + "a_disk_that_fails_is_told_once_and_then_left_alone",
    ),
    without(
        _RECORDER,
        "Recorder._write",
        "raise",
        _RECORDER_TEST + "a_disk_that_fails_is_told_once_and_then_left_alone",
    ),
    always(
        _RECORDER,
        "Recorder.flag",
        "flag not in self.flags",
        _RECORDER_TEST + "flags_are_kept_once_and_the_end_closes_the_file",
    ),
    change(
        _RECORDER,
        "Recorder._since_start",
        "t_s - self._start_s",
        "t_s",
        _RECORDER_TEST + "event_times_count_from_the_start_of_the_run",
    ),
    change(
        _RECORDER,
        "Recorder.samples",
        "('raising', 'sliding')",
        "('raising',)",
        _RECORDER_TEST + "while_the_bag_slides_all_samples_are_kept",
    ),
    change(
        _RECORDER,
        "Recorder.samples",
        "self.state in ('raising', 'sliding')",
        "True",
        _RECORDER_TEST + "outside_of_the_raise_ten_a_second_are_kept",
    ),
    *(
        change(_RECORDER, f"Recorder.{way}", "self._lock", _NO_LOCK, f"{_WAITS}[{way}]")
        for way in ("event", "enter", "flag", "samples", "climate", "steps", "end")
    ),
    # -- states and signals -------------------------------------------------------------------
    change(
        _STATES,
        "ALLOWED",
        "frozenset({'homing'})",
        "frozenset({'homing', 'placing'})",
        _RECORDER_TEST + "only_what_follows_and_a_halt_is_allowed",
        nth=2,
    ),
    change(
        _STATES,
        "ALLOWED",
        "frozenset({'dwelling'})",
        "frozenset({'dwelling', 'raising'})",
        _RECORDER_TEST + "only_what_follows_and_a_halt_is_allowed",
    ),
    change(
        _STATES,
        "check_transition",
        "new != 'halted' and new not in allowed[old]",
        "new not in allowed[old]",
        _RECORDER_TEST + "only_what_follows_and_a_halt_is_allowed",
    ),
    change(
        _STATES,
        "MOVING",
        "frozenset({'homing', 'placing', 'raising', 'sliding', 'lowering'})",
        "frozenset({'homing', 'raising', 'sliding', 'lowering'})",
        _RECORDER_TEST + "a_driver_may_be_on_where_something_moves",
        _INTERLOCKS_TEST + "the_upper_switch_counts_where_something_moves",
    ),
    without(_SIGNALS, "stop_on_signals", "events.put(StopRequest(...))", _SIGNALS_TEST),
    never(
        _SIGNALS,
        "stop_on_signals",
        "log.name is not None",
        "tests/control/process/test_signals.py::test_a_signal_from_before_is_not_forgotten_by_the_next_machine",
    ),
    without(
        _SIGNALS,
        "catching",
        "signal.signal(number, signal.SIG_IGN if is_over and number in CAUGHT else old)",
        _SIGNALS_TEST,
    ),
    change(
        _SIGNALS,
        "catching",
        "ends_process and log.name is not None",
        "False",
        "tests/control/process/test_signals.py::test_a_second_signal_at_the_very_end_takes_nothing_from_the_exit_code",
    ),
    always(
        _SIGNALS,
        "catching",
        "signal.getsignal(number) is not signal.SIG_IGN",
        "tests/control/process/test_signals.py::test_a_signal_that_is_ignored_stays_ignored",
    ),
    change(
        _SIGNALS,
        "CAUGHT",
        "(signal.SIGINT, signal.SIGTERM, signal.SIGHUP, signal.SIGQUIT)",
        "(signal.SIGINT, signal.SIGTERM, signal.SIGHUP)",
        "tests/control/process/test_signals.py::test_four_signals_are_caught",
    ),
    *(limit(_SIGNALS, "PATIENCE_S", _HUNG, times=times) for times in (1.1, 0.9)),
    never(_SIGNALS, "SignalLog.handle", "now_s - self._acted_s > PATIENCE_S", _HUNG),
    always(_SIGNALS, "SignalLog.handle", "self.name is None", _ONCE, nth=1),
    never(_SIGNALS, "SignalLog.handle", "self._ask is None", _ONCE),
    always(_SIGNALS, "SignalLog.handle", "self._ask is None", _QUICK),
    never(
        _SIGNALS,
        "SignalLog.handle",
        "self._is_asking",
        "tests/control/process/test_signals.py::test_a_person_who_is_asked_is_not_waited_for",
    ),
    without(_SIGNALS, "SignalLog.stopping", "raise Interrupted(self.name)", _SIGNALS_TEST),
    without(
        _SIGNALS,
        "SignalLog.handle_continue",
        "self._continued()",
        "tests/control/process/test_signals.py::test_a_machine_is_told_that_the_program_was_stopped_and_goes_on",
    ),
]
