"""Wall time of what a power-up told: its clock learns from each pack, and what was dated wrongly is dated anew.

Knows no bytes, topics or SQL.
"""

from dataclasses import replace

from service.hostclock import STEP_S, HostClock
from service.ledger import BootLedger, ChimeLedger
from service.model import Arrival, Pack, Redating, RedatingWhy
from service.ports import Work
from service.press_log import regroup
from service.walltime import BootClock, Line

REDATE_S = 0.02
"""Presses are dated anew when their clock has moved by more than this [s]: one mains cycle."""

REDATE_READINGS_S = 2.0
"""The same for supply readings, which last ten seconds and more and are many [s]."""

LOOK_AT_FIRST, LOOK_EVERY_S = 64, 600.0
"""Packs of a power-up after each of which its dating is looked at, and how often later [s]."""

KEPT_BACK_S = 2.0
"""Two power-ups that overlap by less do so because neither is dated to the second; by more, because one was kept back [s]."""

TOLD_S = 1.0
"""A press that has moved by more than this since it was told leaves a note of it in the record [s]."""


def follow_clock(boot: BootLedger, pack: Pack, arrival: Arrival) -> float:
    """Let the power-up's clock learn from this pack; the pack's moment in the boot's own time [s]."""
    boot.changed = True
    boot.cause = pack.boot_cause or boot.cause
    if boot.number is None or pack.up_s is None:
        boot.last_up_s = max(boot.last_up_s, arrival.received_s)
        if pack.rail_windows:
            boot.hear(arrival.received_s, None, 0)
        return arrival.received_s
    boot.last_up_s = max(boot.last_up_s, pack.up_s)
    if boot.host is None or arrival.host:  # "": so far from recordings alone, which no clock of this host has dated
        boot.host = arrival.host
    boot.clock = boot.clock.with_witness(pack.up_s, arrival.received_s)
    if pack.clock_s is not None:
        boot.clock = boot.clock.with_clock(pack.up_s, pack.clock_s)
    boot.hear(pack.up_s, pack.seq, pack.dropped or 0)
    return pack.up_s


def may_need_dating(pack: Pack, last_up_s: float) -> bool:
    """Whether to look, after this pack, how well its power-up is dated: often at first, later every ten minutes, and after packs
    that came late. It depends on the packs and their order alone, so that a rebuild dates as the service did."""
    if pack.seq is None or pack.up_s is None:
        return False
    return pack.seq < LOOK_AT_FIRST or pack.up_s < last_up_s or pack.up_s // LOOK_EVERY_S != last_up_s // LOOK_EVERY_S


def date_anew(work: Work, chime: ChimeLedger, boot: BootLedger, at_s: float) -> None:
    """Move what the power-up told to where its clock says by now; and the power-up before it, which was over by then."""
    after = work.power_up(chime, boot, +1)
    _date(work, chime, boot, at_s, None if after is None else after.dated.wall_s(0.0))
    before = work.power_up(chime, boot, -1)
    if before is not None and before.dated.wall_s(before.last_up_s) > boot.dated.wall_s(0.0) + KEPT_BACK_S:
        _date(work, chime, before, at_s, boot.dated.wall_s(0.0))


def _date(work: Work, chime: ChimeLedger, boot: BootLedger, at_s: float, over_by_s: float | None) -> None:
    """`over_by_s`: when the next power-up began. Packs that were kept back until after that say only how late this one was."""
    line = boot.clock.line()
    late_s = 0.0 if over_by_s is None else line.wall_s(boot.last_up_s) - over_by_s
    if late_s > KEPT_BACK_S:
        line = Line(line.offset_s - late_s, line.drift)
    if line.differs(boot.dated, boot.last_up_s) > REDATE_S:
        _redate(work, chime, boot, line, at_s, "better estimate")
    if line.differs(boot.readings_dated, boot.last_up_s) > REDATE_READINGS_S:
        work.redate_readings(boot, line)


def listen(work: Work, clock: HostClock, now_s: float, anew: bool) -> None:
    """From now on packs are received by this clock. Where somebody has set it since the host's power-up, everything received
    since then is dated by the clock as it stands now. `anew`: Bellcrank was away before, else it has listened all the time."""
    before = work.last_clock(clock.host)
    if before is not None and not anew:
        work.still_listening(now_s - (clock.offset_s - before.offset_s))
    if before is not None and abs(clock.offset_s - before.offset_s) > STEP_S:
        _move_arrivals(work, clock.host, clock.offset_s - before.offset_s, now_s)
    work.listen(clock, now_s)


def _move_arrivals(work: Work, host: str, shift_s: float, now_s: float) -> None:
    since_s = work.first_listened_s(host)
    moved = work.boots_heard_by(host, since_s)
    work.shift_arrivals(host, since_s, shift_s)
    for chime, boot in moved:
        if boot.number is None:
            continue
        boot.clock, boot.changed = _shifted(boot.clock, shift_s, since_s), True
        line = boot.clock.line()
        if line.differs(boot.dated, boot.last_up_s) > REDATE_S:
            _redate(work, chime, boot, line, now_s, "clock of this host was set")
            work.redate_readings(boot, line)


def _redate(work: Work, chime: ChimeLedger, boot: BootLedger, line: Line, at_s: float, why: RedatingWhy) -> None:
    """Its presses move together, and their visits with them; only beside other boots may a visit begin or end elsewhere."""
    dated, before = boot.dated, work.press_stretches(boot)
    work.redate(boot, line)
    after = work.press_stretches(boot)
    for stretches in (before, after):
        for door_id, first_s, last_s in stretches:
            regroup(work, door_id, first_s, first_s)
            regroup(work, door_id, last_s, last_s)
    if after and line.differs(dated, boot.last_up_s) > TOLD_S:
        first_s, last_s = min(s[1] for s in after), max(s[2] for s in after)
        shift_s = line.wall_s(boot.last_up_s) - dated.wall_s(boot.last_up_s)
        work.add_redating(Redating(chime.site, chime.chime, at_s, first_s, last_s, shift_s, why))


def _shifted(clock: BootClock, shift_s: float, since_s: float) -> BootClock:
    """The clock whose witnesses that arrived since then arrived so much later."""
    moved = replace(clock, witnesses=())
    for up_s, late_s in clock.witnesses:
        arrival_s = up_s + late_s
        moved = moved.with_witness(up_s, arrival_s + (shift_s if arrival_s >= since_s else 0.0))
    return moved
