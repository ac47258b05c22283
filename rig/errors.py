"""The errors a person is told about, each one clear sentence."""


class RigError(Exception):
    """Something a person must be told: what is wrong, where, and how to mend it."""

    exit_code = 1


class BadInputError(RigError):
    """What was asked for or handed in cannot be used; nothing was moved (exit code 2)."""

    exit_code = 2


class BusyError(RigError):
    """Another process or task is using the rig (exit code 2)."""

    exit_code = 2


class MachineFaultError(RigError):
    """The machine stopped itself; `cause` is a short stable word, `action` what to do next.

    Args:
        cause: one word for files and tests, such as `"imu_silent"`.
        what: the sentence that says what happened, with figures.
        action: the sentence that says how to mend it.
    """

    def __init__(self, cause: str, what: str, action: str) -> None:
        super().__init__(f"{what} {action}")
        self.cause = cause
        self.what = what
        self.action = action
