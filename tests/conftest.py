"""A test that leaves something behind fails; invented examples do not depend on the time taken."""

import os

# The matrices here are small, and two workers share two cores: threads would wait on each other.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import signal
from collections.abc import Iterator

import pytest
import threadpoolctl  # noqa: F401 - it sets a variable when it is loaded
from hypothesis import HealthCheck, settings

from tests.leaks import nothing_left

# A shell ignores some signals for what it starts in the background; the tests send them.
signal.signal(signal.SIGINT, signal.default_int_handler)
for _number in (signal.SIGQUIT, signal.SIGHUP, signal.SIGTERM):
    signal.signal(_number, signal.SIG_DFL)

# A busy computer is no counterexample.
settings.register_profile(
    "rig",
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
    derandomize="CI" in os.environ,
)
settings.load_profile("rig")


@pytest.fixture(autouse=True)
def _leaves_nothing_behind() -> Iterator[None]:
    with nothing_left():
        yield
