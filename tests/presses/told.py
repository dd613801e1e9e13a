"""What detectors see through a simulated contact, as packs of Tern Cottage's chime, and the record that they make."""

from base64 import urlsafe_b64encode
from collections.abc import Iterable, Sequence
from functools import cache
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np

from adapters.simulated import contacts, packing
from adapters.simulated.circuit import Circuit, Parts
from adapters.simulated.contacts import Contact, Span
from adapters.sql.work import SqlStore
from service.intake import Understander, receive
from service.model import Arrival, Press
from tests.builders import SITE, T0, arrival, pack


class Wired(NamedTuple):
    """A button: a front door's has the diode that feeds the chime, a rear door's has none."""

    mains_hz: float
    rear: bool

    @property
    def door(self) -> str:
        return "garden" if self.rear else "front"


WIRED = [Wired(hertz, rear) for hertz in (50.0, 60.0) for rear in (False, True)]

FIRM = Contact(make_bounce_s=(0.0, 0.0), break_bounce_s=(0.0, 0.0), bounce_openings=0)
"""A contact that makes and breaks at once."""

BOUNCING = Contact(make_bounce_s=(0.3e-3, 6.2e-3), break_bounce_s=(0.3e-3, 6.2e-3), bounce_openings=3)
"""6.2 ms: the worst of a survey of switches, bar outliers (Ganssle, from memory)."""

DROPPING = Contact(drop_outs=(1, 3), drop_out_s=(2e-3, 45e-3))
"""A published press contains a hole of 42 ms (adamfk/bouncy-button-data)."""


def pulses(wired: Wired, closed: Sequence[Span], phase: float = 0.0) -> list[Span]:
    """Detector pulses (rise, fall) [s] of closed stretches; `phase`: where in a mains cycle the first of them begins."""
    start_s, end_s = closed[0][0] - 0.1, closed[-1][1] + 0.1
    return contacts.pulses(
        _circuit(wired.mains_hz), start_s, end_s, phase - 0.1 * wired.mains_hz, wired.mains_hz, 1.0, closed, wired.rear
    )


def pressed(wired: Wired, start_s: float, hold_s: float, contact: Contact, rng: np.random.Generator) -> list[Span]:
    """Detector pulses of one press."""
    return pulses(wired, contacts.closures(start_s, hold_s, contact, rng), float(rng.uniform()))


def later(told: Sequence[Span], by_s: float) -> list[Span]:
    """The same pulses at another time, to the tick."""
    shift_s = round(by_s, 4)
    return [(rise + shift_s, fall + shift_s) for rise, fall in told]


def edges(door: str, told: Sequence[Span], made_up_s: float) -> dict[str, Any]:
    """Pulses as a record of a pack that is made then, in the chime's own time."""
    record = packing.data(f"{door}.edges", packing.edges(told), round(told[0][0] - made_up_s, 4))
    return {**record, "vd": _base64url(record["vd"])}


def cut(told: Sequence[Span], places: Iterable[int]) -> list[list[Span]]:
    """Pulses in chunks that begin at these places."""
    bounds = sorted({0, len(told), *(place % len(told) for place in places)})
    return [list(told[a:b]) for a, b in pairwise(bounds)]


def in_packs(wired: Wired, chunks: Sequence[Sequence[Span]], chime: str = "hall", boot: int = 1) -> list[Arrival]:
    """A pack for each chunk, made 10 ms after its last pulse and arriving 50 ms later."""
    return [
        arrival(
            pack(seq, edges(wired.door, chunk, chunk[-1][1] + 0.01), boot=boot, up_s=round(chunk[-1][1] + 0.01, 4)),
            chunk[-1][1] + 0.06,
            f"bellcrank/1/{SITE}/{chime}/pack",
        )
        for seq, chunk in enumerate(chunks)
    ]


def take_in(store: SqlStore, arrivals: Sequence[Arrival], at_once: int = 200) -> None:
    """Keep and understand them, in this order."""
    receive(store, arrivals)
    understander = Understander(store)
    while understander.process_pending(at_once):
        pass
    assert store.reader().counts().quarantined == 0


def presses(store: SqlStore, chime: str | None = None) -> list[Press]:
    """All presses of the record, or of one chime, in order of time."""
    found, cursor = list[Press](), None
    while True:
        page, cursor = store.reader().presses(SITE, 0.0, 2.0 * T0, chime=chime, cursor=cursor, limit=1000)
        found += page
        if cursor is None:
            return found


@cache
def _circuit(mains_hz: float) -> Circuit:
    return Circuit(Parts(mains_hz=mains_hz))


def _base64url(octets: bytes) -> str:
    return urlsafe_b64encode(octets).rstrip(b"=").decode()
