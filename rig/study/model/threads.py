"""Keeps linear algebra in one thread: its matrices are small, and threads would wait on each other.

Measured with two cores and a dozen other processes: 0.6 s of CPU with one thread, 16 s with two.
Beside a machine that makes pulses, a library's own threads would also be in the way.
"""

from collections.abc import Callable
from functools import wraps
from typing import ParamSpec, TypeVar

from threadpoolctl import threadpool_limits

P = ParamSpec("P")
R = TypeVar("R")


def single_threaded(function: Callable[P, R]) -> Callable[P, R]:
    """Let a function's linear algebra use one thread."""

    @wraps(function)
    def limited(*args: P.args, **kwargs: P.kwargs) -> R:
        with threadpool_limits(limits=1, user_api="blas"):
            return function(*args, **kwargs)

    return limited
