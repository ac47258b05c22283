"""Every condition under which the machine stops itself or refuses to begin, in one table.

None of it is a safety function: the emergency stop cuts the motor's supply in hardware, and this
table only makes the program follow. The screw holds the board by itself, so "driver off" leaves
the board where it is, at any angle.
"""

from rig.control.fault_kinds import Fault
from rig.control.faults_of_computer import COMPUTER
from rig.control.faults_of_motion import MOTION
from rig.control.faults_of_placing import PLACING
from rig.control.faults_of_sensors import SENSORS

FAULTS: tuple[Fault, ...] = (*MOTION, *SENSORS, *PLACING, *COMPUTER)
