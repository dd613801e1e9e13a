"""What a recording says: the live engine run over it into an empty record. Knows no SQL and no command line."""

from collections.abc import Iterable
from dataclasses import asdict
from math import inf
from typing import Any

from service import examination, intake, telling
from service.findings.judge import judge
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


def examine(
    store: Store, arrivals: Iterable[Arrival], understander: intake.Understander, sheet: dict[str, Any] | None = None
) -> dict[str, Any]:
    """The answer of the contract ("What examining a recording answers"), by the live engine. A recording of several chimes
    is judged chime by chime, each by the same sheet. Unseen presses are not looked for yet: `looked_for` says what was."""
    count = take_in(store, arrivals, understander)
    reader = store.reader()
    chimes = reader.chimes()
    if sheet is not None:
        with store.work() as work:
            for chime in chimes:
                work.keep_fitout(chime.site, chime.chime, sheet, chime.last_heard_s, "recording")
    verdicts = [
        found.verdict
        for chime in chimes
        if (found := examination.examine(reader, judge, chime.site, chime.chime, chime.last_heard_s)) is not None
    ]
    findings = sorted((f for v in verdicts for f in v.findings), key=lambda f: -f.likelihood)
    sites = sorted({chime.site for chime in chimes})
    refused, _ = reader.set_aside(limit=1000)
    return {
        "quantities": {name: asdict(one) for v in verdicts for name, one in v.quantities.items()},
        "findings": [telling.judged(finding) for finding in findings],
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
        "looked_for": ["findings", "quantities", "presses", "blind"],
        "missing": sorted({said for v in verdicts for said in v.missing}),
        "packs": {"read": count, "set_aside": [{"topic": pack.topic, "reason": pack.reason} for pack in refused]},
    }


def _all_presses(reader: Reader, site: str) -> Iterable[Any]:
    cursor: str | None = None
    while True:
        presses, cursor = reader.presses(site, -inf, inf, cursor=cursor, limit=1000)
        yield from presses
        if cursor is None:
            return
