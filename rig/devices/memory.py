"""Keeps the program's pages in memory: one that must come back from a card takes milliseconds."""

import ctypes
import resource
import sys

MCL_CURRENT, MCL_FUTURE, MCL_ONFAULT = 1, 2, 4
"""From <asm-generic/mman.h>; see mlockall(2). On fault: a page counts once it is touched."""


def lock_memory() -> bool:
    """Keep all pages of this process in memory from now on; whether the system permits it.

    Only where no limit is set: a program that came to its limit later would be refused memory.
    """
    if sys.platform != "linux":
        return False
    limit, _ = resource.getrlimit(resource.RLIMIT_MEMLOCK)
    if limit != resource.RLIM_INFINITY:
        return False
    flags = MCL_CURRENT | MCL_FUTURE | MCL_ONFAULT
    return bool(ctypes.CDLL(None).mlockall(flags) == 0)
