"""What a decoded pack means for the record: boots and time, presses and visits, sound, supply, presence.

Each function takes the writer's transaction and changes the record through it. The result does not depend on the order
in which packs arrive: presses are joined as stretches of the chime's own time, and wall time follows from its boot's clock.
Knows no bytes, topics or SQL.
"""

from hashlib import blake2b

from service import telling
from service.dating import date_anew, follow_clock, may_need_dating
from service.findings.kinds import kind_of
from service.findings.rising import rises_of
from service.ledger import BootLedger, ChimeLedger
from service.levels import shown
from service.model import Arrival, Pack, RailWindow, Switch
from service.ports import Work
from service.press_log import record_presses, stretches_after
from service.walltime import BootClock, Line, best_drift

RESENT_WITHIN_S = 10.0
"""A pack without (boot, seq) that says again what the chime's last one said, within this time, was sent twice [s]."""

REDELIVERED_WITHIN_S = 3600.0
"""What a broker marks as sent before is the pack of the same content kept within this time, though a broker that has
restarted may have given it another packet id [s]. Longer ago, it is rather another press that says the same."""


class Batch:
    """Packs understood in one transaction. Those who listen live are told by `finish`."""

    def __init__(self, work: Work, tell: bool = True) -> None:
        self.work = work
        self._tell = tell
        self._pressed: dict[int, float] = {}

    def understand(self, chime: ChimeLedger, pack: Pack, arrival: Arrival, pack_id: int | None = None) -> bool:
        """Add what the pack tells to the record. False, and nothing changed, where the record already has this pack.

        `pack_id`: where its bytes are kept, for examinations to find them.
        """
        work = self.work
        boot = _boot_of(work, chime, pack, arrival)
        if boot is None:
            return False
        last_up_s = boot.last_up_s
        now_up_s = follow_clock(boot, pack, arrival)
        tell = self._tell and arrival.via != "file"
        for press_id in record_presses(work, chime, boot, pack, pack_id, now_up_s):
            if tell:
                self._pressed[press_id] = arrival.received_s
        _record_sound(work, chime, boot, pack.sound, now_up_s)
        _record_supply(work, chime, boot, pack, now_up_s, tell)
        for rise in rises_of(pack):
            work.add_rise(chime, boot, now_up_s + rise.start_s, now_up_s + rise.end_s, rise.rise_v)
        for waveform in pack.waveforms:
            work.add_waveform(chime, boot, waveform, now_up_s + waveform.moment_s, arrival.commissioning)
        kind = kind_of(pack)
        if kind is not None and pack_id is not None:
            work.add_testimony(chime, boot, pack_id, kind, now_up_s, arrival.commissioning)
        _note_chime(chime, pack, arrival.received_s)
        if boot.number is not None and may_need_dating(pack, last_up_s):
            date_anew(work, chime, boot, arrival.received_s)
        return True

    def note_presence(self, chime: ChimeLedger, alive: bool, arrival: Arrival) -> None:
        """The presence topic spoke. A retained message that says what is known already changes nothing."""
        if chime.alive is alive:
            return
        chime.alive, chime.alive_since_s, chime.changed = alive, arrival.received_s, True
        self.work.add_presence(chime, arrival.received_s, alive)
        if self._tell and arrival.via != "file":
            data = telling.presence(arrival.received_s, alive)
            self.work.add_event("presence", arrival.received_s, chime.site, chime.chime, data)

    def finish(self) -> None:
        """Tell of the presses."""
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
        boot.clock = BootClock(drift_known=best_drift(work.clocks_before(chime, boot)))
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
    same_clock = (boot for boot in work.boots(chime, None) if boot.host == arrival.host)
    return next(same_clock, None) or work.new_boot(chime, None, arrival.received_s, Line(0.0), arrival.host)


def _digest(payload: bytes) -> int:
    return int.from_bytes(blake2b(payload, digest_size=8).digest(), "big", signed=True)


def _record_sound(work: Work, chime: ChimeLedger, boot: BootLedger, sound: tuple[Switch, ...], now_up_s: float) -> None:
    for switch in sound:
        for start, end in stretches_after(work, boot, "", now_up_s + switch.moment_s, switch.on):
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
    chime.level |= shown(pack)
