"""What a recording says: the live engine run over it into an empty record. Knows no SQL and no command line."""

from collections.abc import Iterable
from math import inf
from typing import Any

from service import intake, telling
from service.model import Arrival
from service.ports import Reader, Store

BATCH = 1000


def take_in(store: Store, arrivals: Iterable[Arrival], understander: intake.Understander) -> int:
    """Keep and understand arrivals without a network; how many there were. For recordings and for the invented house."""
    count, batch = 0, list[Arrival]()
    for arrival in arrivals:
        batch.append(arrival)
        if len(batch) == BATCH:
            count += _take_in_batch(store, batch, understander)
            batch = []
    return count + _take_in_batch(store, batch, understander)


def _take_in_batch(store: Store, batch: list[Arrival], understander: intake.Understander) -> int:
    intake.receive(store, batch)
    while understander.process_pending(BATCH):
        pass
    return len(batch)


def examine(store: Store, arrivals: Iterable[Arrival], understander: intake.Understander) -> dict[str, Any]:
    """The answer of the contract ("What examining a recording answers"), as far as the engine reaches today: presses and
    blind time. Findings, quantities and unseen presses are not looked for yet: `looked_for` says what was."""
    count = take_in(store, arrivals, understander)
    reader = store.reader()
    sites = sorted({chime.site for chime in reader.chimes()})
    refused, _ = reader.set_aside(limit=1000)
    return {
        "quantities": {},
        "findings": [],
        "presses": [
            {
                "door": press.door,
                "start": telling.rfc3339(press.start_s),
                "end": telling.rfc3339_or_none(press.end_s),
                "pulses": press.pulses,
                "drop_outs": press.drop_outs,
                "bounce": press.bounce,
            }
            for site in sites
            for press in _all_presses(reader, site)
            if not press.doubtful
        ],
        "unseen": [],
        "blind": [
            {"start": telling.rfc3339(spell.start_s), "end": telling.rfc3339_or_none(spell.end_s), "why": spell.why}
            for site in sites
            for spell in reader.blind_spells(site, -inf, inf, inf)
        ],
        "looked_for": ["presses", "blind"],
        "packs": {"read": count, "set_aside": [{"topic": pack.topic, "reason": pack.reason} for pack in refused]},
    }


def _all_presses(reader: Reader, site: str) -> Iterable[Any]:
    cursor: str | None = None
    while True:
        presses, cursor = reader.presses(site, -inf, inf, cursor=cursor, limit=1000)
        yield from presses
        if cursor is None:
            return
