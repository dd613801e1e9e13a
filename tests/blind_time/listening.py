"""What Tern Cottage's chime sends while it listens, minute by minute, and what the record says of the rest. Times from T0 on [s].

Without a present the record is asked as a recording is: nobody says then that a chime is silent by now.
"""

import json
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from math import inf
from typing import Any

from adapters.sql.work import SqlStore
from service.hostclock import HostClock
from service.model import Arrival, BlindSpell
from service.presses.blind import covered_s
from tests.builders import CHIME, PRESS, SITE, T0, TOPIC, arrival
from tests.presses.told import take_in

HOST = HostClock("the host's first power-up", T0)
LATE_S = 0.05


def sent(
    seq: int, up_s: float, *more: dict[str, Any], boot: int = 1, on_s: float = 0.0, cause: str = "power-on", dropped: int = 0,
    at_s: float | None = None,
) -> Arrival:  # fmt: skip
    """A numbered pack with a rail window, of a chime that has power since `on_s`; `at_s`: when it arrives, else at once."""
    records: list[dict[str, Any]] = [
        {"n": "boot", "v": boot},
        {"n": "boot.cause", "vs": cause},
        {"n": "seq", "v": seq},
        {"n": "up", "u": "s", "v": up_s},
        {"n": "rail.mean", "u": "V", "v": 14.2},
        {"n": "rail.window", "u": "s", "v": 60},
    ]
    if dropped:
        records.append({"n": "dropped", "v": dropped})
    return arrival(json.dumps([*records, *more]).encode(), on_s + up_s + LATE_S if at_s is None else at_s)


def minutes(first: int, last: int, **more: Any) -> list[Arrival]:
    """Packs `first` to `last` of a power-up, one a minute, the first of a power-up five seconds after it began."""
    return [sent(seq, 60.0 * seq + 5.0, **more) for seq in range(first, last + 1)]


def unnumbered(at_s: float, *more: dict[str, Any]) -> Arrival:
    """What a chime that numbers nothing sends; no two of its packs are the same."""
    window = [{"n": "rail.mean", "u": "V", "v": 14.2 + at_s * 1e-6}, {"n": "rail.window", "u": "s", "v": 60}]
    return arrival(json.dumps([*window, *more]).encode(), at_s)


def alive(at_s: float, present: bool) -> Arrival:
    return arrival(b"1" if present else b"0", at_s, TOPIC.removesuffix("pack") + "alive")


def told(store: SqlStore, start_s: float = -1e6, end_s: float = 1e6, now_s: float = inf) -> list[BlindSpell]:
    return list(store.reader().blind_spells(SITE, T0 + start_s, T0 + end_s, T0 + now_s))


def brief(spells: Sequence[BlindSpell]) -> list[tuple[float, float | None, str]]:
    """Start, end and reason of each, to the second."""
    return [(round(s.start_s - T0), None if s.end_s is None else round(s.end_s - T0), s.why) for s in spells]


def blind_s(store: SqlStore, start_s: float, end_s: float, now_s: float = inf) -> float:
    """How much of a stretch is blind at every door."""
    spells = [s for s in told(store, start_s, end_s, now_s) if s.door is None]
    return covered_s(
        ((s.start_s, T0 + now_s if s.end_s is None else s.end_s) for s in spells), T0 + start_s, T0 + end_s
    )


@contextmanager
def memory() -> Iterator[SqlStore]:
    opened = SqlStore("sqlite://", "Europe/London")
    yield opened
    opened.close()


__all__ = ["CHIME", "HOST", "PRESS", "SITE", "T0", "take_in"]
