"""Guards of the computer: supply, disk, clocks, the lock, `rig safe`, the service manager."""

from tests.guards.entry import Guard, change, limit, never, swapped, without

_C = "rig.control."
_T = "tests/control/test_"
_HOST, _HOST_TEST = _C + "process.host", "tests/control/process/test_host.py::test_"
_LOCK, _LOCK_TEST = _C + "process.lock", "tests/control/process/test_lock.py::test_"
_NOTIFY, _NOTIFY_TEST = _C + "process.notify", "tests/control/process/test_notify.py::test_"
_SAFE = _C + "process.safe"
_KILLED = _LOCK_TEST + "a_process_is_asked_first_and_killed_4_s_later"

ENTRIES: list[Guard] = [
    # -- the computer -------------------------------------------------------------------------
    limit(_HOST, "PERIOD_S", _HOST_TEST + "the_computer_is_asked_every_1_5_s"),
    limit(_HOST, "PERIOD_S", _HOST_TEST + "the_computer_is_asked_every_1_5_s", times=0.5),
    change(
        _HOST,
        "keeps_outputs",
        "b'bcm2712' in (root / COMPATIBLE).read_bytes()",
        "False",
        _HOST_TEST + "what_the_kernel_does_with_outputs_of_a_program_that_ended",
    ),
    limit(_HOST, "UNDER_VOLTAGE_NOW", _HOST_TEST + "only_a_supply_that_is_low_now_counts"),
    change(
        _HOST,
        "Host._supply_low",
        "word & UNDER_VOLTAGE_NOW",
        "word",
        _HOST_TEST + "only_a_supply_that_is_low_now_counts",
    ),
    change(
        _HOST,
        "Host._supply_low",
        "any(_is_alarm(chip) for chip in self.root.glob('sys/class/hwmon/hwmon*'))",
        "False",
        _HOST_TEST + "the_kernels_alarm_counts_when_it_is_the_pis",
    ),
    change(
        _HOST,
        "_is_alarm",
        "(chip / 'name').read_text('ascii').strip() == 'rpi_volt'",
        "True",
        _HOST_TEST + "the_kernels_alarm_counts_when_it_is_the_pis",
    ),
    change(
        _HOST,
        "Host.look",
        "self._apart_s() - self._mark_s",
        "self._mark_s - self._apart_s()",
        _HOST_TEST + "wall_time_that_jumps_is_seen_until_it_is_marked",
    ),
    without(
        _HOST,
        "Host.mark",
        "self._mark_s = self._apart_s()",
        _HOST_TEST + "wall_time_that_jumps_is_seen_until_it_is_marked",
    ),
    change(
        _HOST,
        "free_mb",
        "1e6",
        "1e3",
        _HOST_TEST + "free_space_is_in_megabytes_and_may_be_unknown",
    ),
    change(
        _HOST,
        "free_mb",
        "not place.exists()",
        "False",
        _HOST_TEST + "free_space_of_a_folder_that_is_not_there_yet",
    ),
    # -- one process at a time ----------------------------------------------------------------
    without(
        _LOCK,
        "RigLock.open",
        "fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)",
        _LOCK_TEST + "a_file_of_another_user_is_locked_though_it_cannot_be_written",
    ),
    change(
        _LOCK,
        "RigLock.open",
        "fcntl.LOCK_EX | fcntl.LOCK_NB",
        "fcntl.LOCK_SH | fcntl.LOCK_NB",
        _LOCK_TEST + "a_file_of_another_user_is_locked_though_it_cannot_be_written",
    ),
    without(
        _LOCK,
        "RigLock.open",
        "os.ftruncate(descriptor, 0)",
        _LOCK_TEST + "the_number_of_the_last_holder_is_overwritten_whole",
    ),
    without(
        _LOCK,
        "RigLock.open",
        "os.pwrite(descriptor, f'{os.getpid()}\\n'.encode(), 0)",
        _LOCK_TEST + "the_number_of_the_last_holder_is_overwritten_whole",
    ),
    without(
        _LOCK,
        "RigLock.close",
        "os.close(descriptor)",
        _LOCK_TEST + "the_number_of_the_last_holder_is_overwritten_whole",
    ),
    change(
        _LOCK,
        "RigLock._file",
        "return os.open(self.path, os.O_RDONLY | os.O_CLOEXEC)",
        "raise",
        _LOCK_TEST + "a_file_of_another_user_is_locked_though_it_cannot_be_written",
    ),
    change(
        _LOCK,
        "lock_path",
        "f.is_dir() and os.access(f, os.W_OK)",
        "True",
        _LOCK_TEST + "the_lock_lies_where_every_user_finds_it",
    ),
    # -- rig safe -----------------------------------------------------------------------------
    limit(_SAFE, "GRACE_S", _KILLED),
    limit(_SAFE, "GRACE_S", _KILLED, times=0.5),
    limit(_SAFE, "KILL_S", _KILLED),
    limit(_SAFE, "KILL_S", _KILLED, times=0.5),
    limit(_SAFE, "LOOK_S", _KILLED, times=5.0),
    change(_SAFE, "_end", "signal.SIGTERM", "signal.SIGKILL", _KILLED),
    change(_SAFE, "_end", "signal.SIGKILL", "signal.SIGTERM", _KILLED),
    change(
        _SAFE,
        "_end",
        "holder(lock) != process",
        "False",
        _KILLED,
    ),
    swapped(
        _SAFE,
        "make_safe",
        "if process is not None: ...",
        "step = _claim(enable_pin, open_pins)",
        _LOCK_TEST + "the_process_is_ended_before_its_line_is_taken",
    ),
    change(
        _SAFE,
        "_claim",
        "SafeStep(way, not level, 'still reads high' if level else 'driven low: driver off')",
        "SafeStep(way, True, 'driven low: driver off')",
        _LOCK_TEST + "a_line_that_stays_high_is_not_called_off",
    ),
    never(
        _SAFE,
        "make_safe",
        "not step.is_done",
        _LOCK_TEST + "a_line_that_cannot_be_claimed_is_set_by_the_tool",
    ),
    never(
        _SAFE,
        "_by_tool",
        "done.returncode",
        _LOCK_TEST + "when_nothing_works_the_emergency_stop_is_named",
    ),
    change(
        _SAFE,
        "_by_tool",
        "'dl'",
        "'dh'",
        _LOCK_TEST + "a_line_that_cannot_be_claimed_is_set_by_the_tool",
    ),
    change(
        _SAFE,
        "_by_tool",
        "subprocess.run(command, capture_output=True, timeout=5, check=False)",
        "subprocess.run(command, capture_output=True, check=False)",
        _LOCK_TEST + "a_tool_that_hangs_is_given_up",
    ),
    change(
        _SAFE,
        "_end",
        "SafeStep(way, True, 'had ended already')",
        "SafeStep(way, False, 'is gone')",
        _LOCK_TEST + "a_process_that_ended_by_itself_counts_as_ended",
    ),
    # -- the service manager ------------------------------------------------------------------
    change(
        _NOTIFY,
        "Notifier.__init__",
        "int(watchdog_us) / 4e6",
        "int(watchdog_us) / 1e6",
        _NOTIFY_TEST + "signs_of_life_come_four_times_in_the_wanted_time",
        _NOTIFY_TEST + "an_unreadable_watchdog_period_is_ignored",
    ),
    change(
        _NOTIFY,
        "Notifier.__init__",
        "watchdog_us.isdigit() and is_mine",
        "watchdog_us.isdigit()",
        _NOTIFY_TEST + "no_signs_of_life_when_nobody_waits_for_mine",
    ),
    change(
        _NOTIFY,
        "Notifier.__init__",
        "watchdog_us.isdigit() and is_mine",
        "watchdog_us and is_mine",
        _NOTIFY_TEST + "an_unreadable_watchdog_period_is_ignored",
    ),
    without(
        _NOTIFY,
        "Notifier.alive",
        "self._due_s = now_s + self.period_s",
        _NOTIFY_TEST + "signs_of_life_come_four_times_in_the_wanted_time",
    ),
    change(
        _NOTIFY,
        "Notifier.status",
        "text.replace('\\n', ' ')",
        "text",
        _NOTIFY_TEST + "ready_status_and_end_are_told",
    ),
    without(
        _NOTIFY,
        "Notifier._send",
        "sender.settimeout(0.2)",
        _NOTIFY_TEST + "a_full_socket_is_given_up_after_0_2_s",
    ),
    change(
        _NOTIFY,
        "Notifier._send",
        "return",
        "raise",
        _NOTIFY_TEST + "without_a_manager_nothing_happens",
        nth=2,
    ),
]
