"""(boot, up) to wall time, by lower envelope.

A pack made `up` seconds after power-up arrives at `up` + start + delay, and the delay is never negative. So the points
(up, arrival - up) of one boot lie on or above the line that tells the chime's start and the drift of its crystal. The line
is laid on the lowest of them (`boot_clock` keeps those). How far below it the truth may lie follows from how close together
they are (`belief`): where many packs lie within milliseconds of the line, hardly all of them were slow by the same.
Knows no store and no clock.
"""

from service.walltime.belief import Drift, Line, Witness
from service.walltime.boot_clock import BootClock, best_drift

__all__ = ["BootClock", "Drift", "Line", "Witness", "best_drift"]
