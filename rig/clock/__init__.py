"""Time and tasks: one kind of concurrency, the same on a real and on a virtual clock.

A *task* is a generator that yields `At(t)` (go on at this time) or `Until(queue, deadline)` (go on
at the first item or at the deadline). `RealClock` runs each task in a thread; `VirtualClock` runs
all of them in one thread from a heap and jumps from one wake-up to the next, so a simulated night
takes minutes and is repeatable. Times are seconds of the monotonic clock; wall time is a stamp.
"""

from rig.clock.real import QuietCollector, RealClock
from rig.clock.tasks import At, Cancelled, Clock, Done, Handle, Queue, Task, Until
from rig.clock.virtual import VirtualClock

__all__ = [
    "At",
    "Cancelled",
    "Clock",
    "Done",
    "Handle",
    "Queue",
    "QuietCollector",
    "RealClock",
    "Task",
    "Until",
    "VirtualClock",
]
