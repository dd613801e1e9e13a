"""What a decoded pack means for the record: boots and time, presses and visits, sound, supply, presence.

Each function takes the writer's transaction and changes the record through it. The result does not depend on the order
in which packs arrive: presses are joined as stretches of the chime's own time, and wall time follows from its boot's clock.
Knows no bytes, topics or SQL.
"""

from hashlib import blake2b

from service import telling
from service.findings.kinds import kind_of
from service.ledger import BootLedger, ChimeLedger
from service.model import Arrival, Pack, RailWindow, Switch
from service.ports import Work
from service.presses import pulses, visits
from service.walltime import Line

REDATE_S = 0.02
"""Presses are dated anew when their clock has moved by more than this [s]: one mains cycle."""

REDATE_READINGS_S = 2.0
"""The same for supply readings, which last ten seconds and more and are many [s]."""

RESENT_WITHIN_S = 10.0
"""A pack without (boot, seq) that says again what the chime's last one said, within this time, was sent twice [s]."""

REDELIVERED_WITHIN_S = 3600.0
"""What a broker marks as sent before is the pack of the same content kept within this time, though a broker that has
restarted may have given it another packet id [s]. Longer ago, it is rather another press that says the same."""


class Batch:
    """Packs understood in one transaction. What they change in the dating of a boot is worked out once, by `finish`."""

    def __init__(self, work: Work) -> None:
        self.work = work
        self._clocks: dict[int, BootLedger] = {}
        self._pressed: dict[int, float] = {}

    def understand(self, chime: ChimeLedger, pack: Pack, arrival: Arrival, pack_id: int | None = None) -> bool:
        """Add what the pack tells to the record. False, and nothing changed, where the record already has this pack.

        `pack_id`: where its bytes are kept, for examinations to find them.
        """
        work = self.work
        boot = _boot_of(work, chime, pack, arrival)
        if boot is None:
            return False
        now_up_s = _follow_clock(boot, pack, arrival)
        if boot.number is not None:
            self._clocks[boot.id] = boot
        tell = arrival.via != "file"
        for press_id in _record_presses(work, chime, boot, pack, now_up_s):
            if tell:
                self._pressed[press_id] = arrival.received_s
        _record_sound(work, chime, boot, pack.sound, now_up_s)
        _record_supply(work, chime, boot, pack, now_up_s, tell)
        for waveform in pack.waveforms:
            work.add_waveform(chime, boot, waveform, now_up_s + waveform.moment_s, arrival.commissioning)
        kind = kind_of(pack)
        if kind is not None and pack_id is not None:
            work.add_testimony(chime, boot, pack_id, kind, now_up_s, arrival.commissioning)
        _note_chime(chime, pack, arrival.received_s)
        return True

    def note_presence(self, chime: ChimeLedger, alive: bool, arrival: Arrival) -> None:
        """The presence topic spoke. A retained message that says what is known already changes nothing."""
        if chime.alive is alive:
            return
        chime.alive, chime.alive_since_s, chime.changed = alive, arrival.received_s, True
        self.work.add_presence(chime, arrival.received_s, alive)
        if arrival.via != "file":
            data = telling.presence(arrival.received_s, alive)
            self.work.add_event("presence", arrival.received_s, chime.site, chime.chime, data)

    def finish(self) -> None:
        """Date anew what the packs have shown to be dated wrongly; then tell of the presses."""
        for boot in self._clocks.values():
            line = boot.clock.line()
            if line.differs(boot.dated, boot.last_up_s) > REDATE_S:
                _redate(self.work, boot, line)
            if line.differs(boot.readings_dated, boot.last_up_s) > REDATE_READINGS_S:
                self.work.redate_readings(boot, line)
        for press_id, at_s in self._pressed.items():
            press = self.work.press(press_id)
            if press is not None:  # else another of these packs has joined it to its neighbour
                self.work.add_event("press", at_s, press.site, press.chime, telling.press(press))


# ── once ────────────────────────────────────────────────────────────────────────────────────────────────────────────


def _boot_of(work: Work, chime: ChimeLedger, pack: Pack, arrival: Arrival) -> BootLedger | None:
    """The power-up this pack belongs to; None where the record already has the pack."""
    digest = _digest(arrival.payload)
    if pack.boot is None or pack.seq is None or pack.up_s is None:
        return _unclocked_boot(work, chime, arrival, digest)
    boots = work.boots(chime, pack.boot)
    known = [work.digest_of(boot, pack.seq) if pack.seq <= boot.highest_seq else None for boot in boots]
    if digest in known:
        return None
    if boots and known[0] is None:
        boot = boots[0]
    else:  # a new number, or one used again by a chime that has begun to count afresh: same key, other content
        boot = work.new_boot(chime, pack.boot, arrival.received_s, Line(arrival.received_s - pack.up_s))
    work.add_key(boot, pack.seq, digest)
    boot.highest_seq = max(boot.highest_seq, pack.seq)
    return boot


def _unclocked_boot(work: Work, chime: ChimeLedger, arrival: Arrival, digest: int) -> BootLedger | None:
    """For a chime without boot, seq and up: its time is time of arrival, and a pack is known by its content."""
    same = work.same_content(chime, digest)
    if same is not None:
        received_s, packet_id, is_last = same
        age_s = arrival.received_s - received_s
        same_id = arrival.packet_id == packet_id
        sent_again_by_broker = arrival.redelivered and (same_id or 0 <= age_s < REDELIVERED_WITHIN_S)
        sent_again_by_chime = is_last and 0 <= age_s < RESENT_WITHIN_S
        if sent_again_by_broker or sent_again_by_chime or (arrival.via == "file" and arrival.received_s == received_s):
            return None
    work.add_content(chime, digest, arrival.packet_id, arrival.received_s)
    boots = work.boots(chime, None)
    return boots[0] if boots else work.new_boot(chime, None, arrival.received_s, Line(0.0))


def _digest(payload: bytes) -> int:
    return int.from_bytes(blake2b(payload, digest_size=8).digest(), "big", signed=True)


# ── time ────────────────────────────────────────────────────────────────────────────────────────────────────────────


def _follow_clock(boot: BootLedger, pack: Pack, arrival: Arrival) -> float:
    """Let the boot's clock learn from this pack; the pack's moment in the boot's own time [s]."""
    boot.changed = True
    boot.cause = pack.boot_cause or boot.cause
    boot.dropped = max(boot.dropped, pack.dropped or 0)
    if boot.number is None or pack.up_s is None:
        boot.last_up_s = max(boot.last_up_s, arrival.received_s)
        return arrival.received_s
    boot.last_up_s = max(boot.last_up_s, pack.up_s)
    boot.clock = boot.clock.with_witness(pack.up_s, arrival.received_s)
    return pack.up_s


def _redate(work: Work, boot: BootLedger, line: Line) -> None:
    """Its presses move together, and their visits with them; only beside other boots may a visit begin or end elsewhere."""
    before = work.press_stretches(boot)
    work.redate(boot, line)
    for stretches in (before, work.press_stretches(boot)):
        for door_id, first_s, last_s in stretches:
            _regroup(work, door_id, first_s, first_s)
            _regroup(work, door_id, last_s, last_s)


# ── presses and visits ──────────────────────────────────────────────────────────────────────────────────────────────


def _record_presses(work: Work, chime: ChimeLedger, boot: BootLedger, pack: Pack, now_up_s: float) -> list[int]:
    """Presses of the pack into the record; the rows that are new or changed."""
    found: list[tuple[str, pulses.Fragment]] = []
    for train in pack.pulse_trains:
        moved = [(now_up_s + rise, now_up_s + fall) for rise, fall in train.pulses]
        found += [(train.door, fragment) for fragment in pulses.fragments(moved)]
    for summary in pack.press_summaries:
        start = now_up_s + summary.moment_s
        found.append(
            (
                summary.door,
                pulses.Fragment(
                    start,
                    start + summary.span_s,
                    "summary",
                    summary.pulses,
                    summary.longest_gap_s or 0.0,
                    drop_outs=int((summary.longest_gap_s or 0.0) > pulses.MISSING_PULSE_S),
                ),
            )
        )
    for change in pack.contact_changes:
        at = now_up_s + change.moment_s
        for start, end in _stretches_after(work, boot, change.door, at, change.closed):
            found.append((change.door, pulses.Fragment(start, end, "contact")))
    return [_record_press(work, chime, boot, door, fragment) for door, fragment in found]


def _record_press(work: Work, chime: ChimeLedger, boot: BootLedger, door: str, fragment: pulses.Fragment) -> int:
    door_id = work.door(chime, door, boot.dated.wall_s(fragment.start_up_s))
    press, absorbed = fragment, []
    while True:  # joining with one neighbour may bring the next within reach
        near = work.presses_near(door_id, boot, press.start_up_s - pulses.JOIN_S, press.last_up_s + pulses.JOIN_S)
        parts = [(row, other) for row, other in near if row not in absorbed and pulses.belongs(other, press)]
        if not parts:
            break
        absorbed += [row for row, _ in parts]
        press = pulses.join_all([press, *(other for _, other in parts)])
    absorbed.sort()
    work.remove_presses(absorbed[1:])
    press_id = work.put_press(door_id, boot, press, absorbed[0] if absorbed else None)
    _join_visit(work, door_id, press_id, boot.dated.wall_s(press.start_up_s), boot.dated.wall_s(press.last_up_s))
    return press_id


def _join_visit(work: Work, door_id: int, press_id: int, start_s: float, end_s: float) -> None:
    """A press that is new or has grown joins the visit beside it, or several that it brings together, or begins one."""
    near = work.visits_near(door_id, start_s - visits.VISIT_GAP_S, end_s + visits.VISIT_GAP_S)
    first = min([start_s, *(visit.start_s for visit in near)])
    last = max([end_s, *(visit.end_s for visit in near)])
    visit_id = work.put_visit(door_id, near[0].id if near else None, first, last, [press_id])
    for other in near[1:]:
        work.merge_visits(other.id, visit_id)


def _regroup(work: Work, door_id: int, start_s: float, end_s: float) -> None:
    """Group the presses of a door anew around a moment, after times have moved, keeping the visits that exist."""
    while True:  # reach out until no press outside belongs to a visit inside
        presses = work.presses_between(door_id, start_s - visits.VISIT_GAP_S, end_s + visits.VISIT_GAP_S)
        first = min((p.start_s for p in presses), default=start_s)
        last = max((p.end_s for p in presses), default=end_s)
        if first >= start_s and last <= end_s:
            break
        start_s, end_s = min(first, start_s), max(last, end_s)
    old = {p.visit_id for p in presses if p.visit_id is not None}
    kept: set[int] = set()
    row_of = {p.id: p for p in presses}
    for group in visits.group(visits.Stretch(p.id, p.start_s, p.end_s) for p in presses):
        before = sorted({row_of[p.id].visit_id or 0 for p in group} - {0} - kept)
        kept.add(
            work.put_visit(
                door_id,
                before[0] if before else None,
                group[0].start_s,
                max(p.end_s for p in group),
                [p.id for p in group],
            )
        )
    work.remove_visits(old - kept)


def _stretches_after(
    work: Work, boot: BootLedger, lane: str, up_s: float, closed: bool
) -> list[tuple[float, float | None]]:
    """The stretches that a change of a contact (or of the sound, lane "") begins or ends."""
    work.add_contact(boot, lane, up_s, closed)
    return pulses.closed_stretches(work.contacts_around(boot, lane, up_s))


def _record_sound(work: Work, chime: ChimeLedger, boot: BootLedger, sound: tuple[Switch, ...], now_up_s: float) -> None:
    for switch in sound:
        for start, end in _stretches_after(work, boot, "", now_up_s + switch.moment_s, switch.on):
            work.put_sounding(chime, boot, start, end)


# ── the supply ──────────────────────────────────────────────────────────────────────────────────────────────────────


def _record_supply(work: Work, chime: ChimeLedger, boot: BootLedger, pack: Pack, now_up_s: float, tell: bool) -> None:
    for number, window in enumerate(pack.rail_windows):
        reading = _reading(window, pack if number == 0 else Pack())
        end_up_s = now_up_s + window.moment_s
        work.add_reading(chime, boot, end_up_s, reading)
        if tell:
            at_s = boot.readings_dated.wall_s(end_up_s)
            work.add_event(
                "supply",
                at_s,
                chime.site,
                chime.chime,
                {"at": telling.rfc3339(at_s), **{name: value for name, value in reading.items() if value is not None}},
            )


def _reading(window: RailWindow, pack: Pack) -> dict[str, float | None]:
    """One row; what the pack tells beside its windows goes with the first of them."""
    return {
        "window_s": window.window_s or 0.0,
        "mean_v": window.mean_v,
        "min_v": window.min_v,
        "max_v": window.max_v,
        "low_v": window.low_v,
        "regulated_mean_v": pack.regulated_mean_v,
        "regulated_min_v": pack.regulated_min_v,
        "temperature_c": pack.temperature_c,
        "link_dbw": pack.link_dbw,
    }


def _note_chime(chime: ChimeLedger, pack: Pack, received_s: float) -> None:
    chime.changed = True
    chime.last_heard_s = max(chime.last_heard_s, received_s)
    chime.first_heard_s = min(chime.first_heard_s, received_s)
    chime.device = pack.device or chime.device
    if pack.pulse_trains or pack.press_summaries or pack.contact_changes:
        chime.level.add("presses")
    if pack.boot is not None and pack.seq is not None and pack.up_s is not None:
        chime.level.add("exactly-once")
    if pack.rail_windows:
        chime.level.add("supply")
    if pack.sound:
        chime.level.add("sound")
    if any(waveform.kind == "test" for waveform in pack.waveforms):
        chime.level.add("bursts")
    if pack.pulse_trains:
        chime.level.add("edges")
