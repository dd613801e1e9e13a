"""Pulses to presses, in the chime's own time.

A *fragment* is what one record tells of a press; fragments that belong to one press are joined, in whatever order they
arrive: joining is a union of stretches, so the result is the same for every order. Knows no wall time, door or store.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import reduce
from itertools import pairwise

from service.model import PressSource, Sureness

JOIN_S = 0.075
"""Pulses closer than this belong to one press. At 50 and 60 Hz, with drop-outs up to 45 ms and presses again after 90 ms,
75 ms gave neither a split nor a merge, where 50 ms split and 100 ms merged (measured on simulated contacts)."""

MISSING_PULSE_S = 0.0225
"""A longer gap has lost a pulse. Unbroken, the gap is below one mains period (20 ms at 50 Hz); with one pulse missing it is
at least 1.5 periods (25 ms at 60 Hz), since a pulse lasts at most half a period."""

BOUNCE_S = 0.004
"""A shorter gap lies inside one half-cycle: the contact bounced. Unbroken, the gap is at least half a period (8.3 ms at 60 Hz)."""

STRAY_S = 0.0003
"""A press that left one pulse shorter than this and nothing else is doubtful. Chimes need not send pulses below 0.2 ms, and the
transformer's leakage inductance can kick that long when a contact opens; a finger that short would be a rare chance."""

STUCK_S = 60.0
"""No finger keeps a contact closed longer (common practice, no source): from here on it is called stuck, or held down by something [s]."""

STUCK_GAP_S = 1.0
"""A contact that is stuck may chatter. Where stretches with gaps shorter than this last `STUCK_S` together, they are one press
with drop-outs, not a thousand presses [s]. The sum only grows as stretches arrive, so their order does not matter."""

RANK: dict[PressSource, int] = {"edges": 2, "summary": 1, "contact": 0}


@dataclass(frozen=True, slots=True)
class Fragment:
    """A stretch of one press. `end_up_s` is None while the contact is not known to have opened. [s]"""

    start_up_s: float
    end_up_s: float | None
    source: PressSource
    pulses: int | None = None
    longest_gap_s: float = 0.0
    drop_outs: int = 0
    bounce: bool = False
    widest_s: float | None = None  # the longest of its pulses, where they are known
    pack_id: int | None = None  # the first kept pack that tells of it

    @property
    def sure(self) -> Sureness:
        return sureness(self.source, self.pulses, self.widest_s)

    @property
    def last_up_s(self) -> float:
        return self.start_up_s if self.end_up_s is None else self.end_up_s


def sureness(source: PressSource, pulses: int | None, widest_s: float | None) -> Sureness:
    """How sure it is that a finger closed the contact.

    The shortest of 607 key holds of one person in a public keystroke record was 44 ms (measured), which is two pulses at 50 and
    60 Hz; one pulse alone may be a short touch or a contact that hardly closed, and one shorter than `STRAY_S` is a disturbance.

    >>> sureness("edges", 14, 0.008), sureness("edges", 1, 0.006), sureness("edges", 1, 0.0002)
    ('sure', 'likely', 'doubtful')
    """
    if source == "contact" or pulses is None or pulses > 1:
        return "sure"
    return "doubtful" if widest_s is not None and widest_s < STRAY_S else "likely"


def fragments(pulses: Sequence[tuple[float, float]], pack_id: int | None = None) -> list[Fragment]:
    """Detector pulses, (rise, fall) [s] in order, to fragments: one for each run without a gap of `JOIN_S`.

    >>> [(f.start_up_s, f.end_up_s, f.pulses) for f in fragments([(0.0, 0.008), (0.02, 0.028), (0.5, 0.508)])]
    [(0.0, 0.028, 2), (0.5, 0.508, 1)]
    """
    runs: list[list[tuple[float, float]]] = []
    for pulse in pulses:
        if runs and pulse[0] - runs[-1][-1][1] < JOIN_S:
            runs[-1].append(pulse)
        else:
            runs.append([pulse])
    return [_of_run(run, pack_id) for run in runs]


def _of_run(run: Sequence[tuple[float, float]], pack_id: int | None) -> Fragment:
    """What `join` of its pulses one by one gives, in one pass: a button that is held for a minute has thousands."""
    gaps = [rise - fall for (_, fall), (rise, _) in pairwise(run)]
    return Fragment(
        run[0][0],
        run[-1][1],
        "edges",
        len(run),
        max(gaps, default=0.0),
        sum(gap > MISSING_PULSE_S for gap in gaps),
        any(0.0 < gap < BOUNCE_S for gap in gaps),
        max(fall - rise for rise, fall in run),
        pack_id,
    )


def belongs(a: Fragment, b: Fragment) -> bool:
    """Whether the two are parts of one press.

    Two stretches of pulses are, when less than `JOIN_S` apart. A chime that debounces by itself has already told its
    presses apart: two of its stretches are one press only if they begin together.
    """
    if a.source == b.source == "contact":
        return a.start_up_s == b.start_up_s
    return max(a.start_up_s, b.start_up_s) - min(a.last_up_s, b.last_up_s) < JOIN_S


def told_anew(known: Fragment, told: Fragment) -> Fragment:
    """What is known of a stretch now that a chime that debounces has told of it again: when it ends, a change that came late
    shows, and what was taken for its end before belongs to another stretch.

    >>> told_anew(Fragment(1.0, 9.0, "contact", pack_id=1), Fragment(1.0, 1.3, "contact", pack_id=3)).end_up_s
    1.3
    """
    same = known.source == told.source == "contact" and known.start_up_s == told.start_up_s
    return replace(known, end_up_s=told.end_up_s) if same else known


def join(a: Fragment, b: Fragment) -> Fragment:
    """One fragment in place of two that belong together; the same for either order.

    Where both tell of the same stretch, the one that tells of more pulses counts, of equal ones the finer source: a chime may
    tell the first pulse at once and the whole press in numbers later. One after the other, both count.
    """
    first, second = sorted((a, b), key=lambda f: (f.start_up_s, f.last_up_s, RANK[f.source]))
    finer = max((a, b), key=lambda f: RANK[f.source]).source
    apart = second.start_up_s > first.last_up_s
    fuller = max(first, second, key=lambda f: (f.pulses or 0, RANK[f.source]))
    told = [first, second] if apart or a.source == b.source else [fuller]
    pulses, drop_outs = _sum(f.pulses for f in told), sum(f.drop_outs for f in told)
    longest, bounce = max(f.longest_gap_s for f in told), any(f.bounce for f in told)
    if len(told) == 2:
        gap = second.start_up_s - first.last_up_s
        longest = max(longest, gap)
        drop_outs += gap > MISSING_PULSE_S
        bounce = bounce or 0.0 < gap < BOUNCE_S
    end = max((f.end_up_s for f in (first, second) if f.end_up_s is not None), default=None)
    if second.end_up_s is None and end is not None and second.start_up_s > end:
        end = second.start_up_s  # closed again, not known to have opened: the last sign, so that what follows finds it
    return replace(
        told[0],
        source=finer,
        start_up_s=first.start_up_s,
        end_up_s=end,
        pulses=pulses,
        drop_outs=drop_outs,
        longest_gap_s=longest,
        bounce=bounce,
        widest_s=max((f.widest_s for f in told if f.widest_s is not None), default=None),
        pack_id=min((f.pack_id for f in (a, b) if f.pack_id is not None), default=None),
    )


def join_all(parts: Iterable[Fragment]) -> Fragment:
    """`join` over fragments that are known to belong together, whatever their order."""
    return reduce(join, sorted(parts, key=lambda f: (f.start_up_s, f.last_up_s)))


def is_stuck(parts: Sequence[Fragment]) -> bool:
    """Whether stretches no further than `STUCK_GAP_S` apart are together one contact that does not come free.

    >>> tap = Fragment(0.0, 0.3, "edges", pulses=15)
    >>> is_stuck([tap]), is_stuck([replace(tap, start_up_s=0.8 * k, end_up_s=0.8 * k + 0.3) for k in range(80)])
    (False, True)
    """
    return max(f.last_up_s for f in parts) - min(f.start_up_s for f in parts) >= STUCK_S


def closed_stretches(changes: Sequence[tuple[float, bool]]) -> list[tuple[float, float | None]]:
    """Contact or sound changes (moment, closed) in order of time, to stretches (start, end or None while unknown).

    A second "closed" before any "open" starts a new stretch: an "open" was lost, and when it was nobody knows.

    >>> closed_stretches([(1.0, True), (1.3, False), (5.0, True)])
    [(1.0, 1.3), (5.0, None)]
    """
    following = [*changes[1:], None]
    return [
        (moment, after[0] if after is not None and not after[1] else None)
        for (moment, closed), after in zip(changes, following, strict=True)
        if closed
    ]


def _sum(numbers: Iterable[int | None]) -> int | None:
    known = [n for n in numbers if n is not None]
    return sum(known) if known else None
