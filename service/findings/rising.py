"""Rises of the rail that one pack tells of: in so many words, or in the cycles it brings. Knows no other pack.

Whether a press explains them is seen later, when all packs around have come (`service/presses/unseen.py`).
"""

from service.findings.cycles import idle_cycles, rises
from service.findings.testimony import Told, evidence
from service.model import Pack
from service.presses.unseen import RISE_V, Rise

NOMINAL_HZ = 50.0
"""Only for a pack that brings cycles without their spacing."""


def rises_of(pack: Pack) -> list[Rise]:
    """Moments in seconds after the pack was put together, so negative.

    >>> from service.model import RailRise
    >>> rises_of(Pack(rail_rises=(RailRise(-2.0, 0.7, 0.3),)))
    [Rise(start_s=-2.0, end_s=-1.7, rise_v=0.7)]
    """
    if pack.rail_rises:
        return [Rise(told.moment_s, told.moment_s + (told.span_s or 0.0), told.rise_v) for told in pack.rail_rises]
    if not any(waveform.kind == "peaks" for waveform in pack.waveforms):
        return []
    heard = evidence([Told(pack, 0, 0.0)])
    return [
        Rise(rise.start_s, rise.end_s, rise.rise_v)
        for rise in rises(idle_cycles(heard, NOMINAL_HZ))
        if RISE_V[0] <= rise.rise_v <= RISE_V[1]
    ]
