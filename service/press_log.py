"""Presses and visits into the record: what a pack tells of buttons, joined with what is there already.

The result does not depend on the order in which packs arrive: presses are joined as stretches of the chime's own time, and
visits are grouped anew where times have moved. Knows no bytes, topics or SQL.
"""

from service.ledger import BootLedger, ChimeLedger
from service.model import Pack
from service.ports import Work
from service.presses import pulses, visits

NEW = 0
"""Stands for the row that a press does not have yet."""


def record_presses(
    work: Work, chime: ChimeLedger, boot: BootLedger, pack: Pack, pack_id: int | None, now_up_s: float
) -> list[int]:
    """Presses of the pack into the record; the rows that are new or changed."""
    found: list[tuple[str, pulses.Fragment]] = []
    for train in pack.pulse_trains:
        moved = [(now_up_s + rise, now_up_s + fall) for rise, fall in train.pulses]
        found += [(train.door, fragment) for fragment in pulses.fragments(moved, pack_id)]
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
                    widest_s=summary.median_width_s,
                    pack_id=pack_id,
                ),
            )
        )
    for change in pack.contact_changes:
        at = now_up_s + change.moment_s
        for start, end in stretches_after(work, boot, change.door, at, change.closed):
            found.append((change.door, pulses.Fragment(start, end, "contact", pack_id=pack_id)))
    return [_record_press(work, chime, boot, door, fragment) for door, fragment in found]


def _record_press(work: Work, chime: ChimeLedger, boot: BootLedger, door: str, fragment: pulses.Fragment) -> int:
    door_id = work.door(chime, door, boot.dated.wall_s(fragment.start_up_s))
    parts: dict[int, pulses.Fragment] = {NEW: fragment}
    while True:  # joining with one neighbour may bring the next within reach
        press = pulses.join_all(parts.values())
        near = work.presses_near(
            door_id, boot, press.start_up_s - pulses.STUCK_GAP_S, press.last_up_s + pulses.STUCK_GAP_S
        )
        more = {row: other for row, other in near if row not in parts and pulses.belongs(other, press)}
        more = {row: pulses.told_anew(other, fragment) for row, other in more.items()}
        if not more and len(near) > len(parts) - 1:
            more = _chattering(work, door_id, boot, press, set(parts))
        if not more:
            break
        parts |= more
    absorbed = sorted(row for row in parts if row != NEW)
    work.remove_presses(absorbed[1:])
    press_id = work.put_press(door_id, boot, press, absorbed[0] if absorbed else None)
    _join_visit(work, door_id, press_id, boot.dated.wall_s(press.start_up_s), boot.dated.wall_s(press.last_up_s))
    return press_id


def _chattering(
    work: Work, door_id: int, boot: BootLedger, press: pulses.Fragment, known: set[int]
) -> dict[int, pulses.Fragment]:
    """What lies beside this press without a longer pause, where all of it together is a contact that does not come free."""
    chain: dict[int, pulses.Fragment] = {}
    first, last = press.start_up_s, press.last_up_s
    while True:
        near = work.presses_near(door_id, boot, first - pulses.STUCK_GAP_S, last + pulses.STUCK_GAP_S)
        more = {row: other for row, other in near if row not in known and row not in chain}
        if not more:
            break
        chain |= more
        first = min(first, *(other.start_up_s for other in more.values()))
        last = max(last, *(other.last_up_s for other in more.values()))
    return chain if chain and pulses.is_stuck([press, *chain.values()]) else {}


def _join_visit(work: Work, door_id: int, press_id: int, start_s: float, end_s: float) -> None:
    """A press that is new or has grown joins the visit beside it, or several that it brings together, or begins one."""
    near = work.visits_near(door_id, start_s - visits.VISIT_GAP_S, end_s + visits.VISIT_GAP_S)
    first = min([start_s, *(visit.start_s for visit in near)])
    last = max([end_s, *(visit.end_s for visit in near)])
    visit_id = work.put_visit(door_id, near[0].id if near else None, first, last, [press_id])
    for other in near[1:]:
        work.merge_visits(other.id, visit_id)


def regroup(work: Work, door_id: int, start_s: float, end_s: float) -> None:
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


def stretches_after(
    work: Work, boot: BootLedger, lane: str, up_s: float, closed: bool
) -> list[tuple[float, float | None]]:
    """The stretches that a change of a contact (or of the sound, lane "") begins or ends. What begins later it cannot end."""
    work.add_contact(boot, lane, up_s, closed)
    around = pulses.closed_stretches(work.contacts_around(boot, lane, up_s))
    return [(start_s, end_s) for start_s, end_s in around if start_s <= up_s]
