"""What a recording says: the live engine run over it into an empty record. Knows no SQL and no command line."""

from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from math import inf
from typing import Any

from service import examination, intake, model, outlooks, telling
from service.findings.judge import weighed
from service.findings.outlook import Outlook
from service.findings.sides import Side, sides_of
from service.findings.testimony import Evidence
from service.findings.verdict import Finding, Surveyed, Verdict
from service.model import Arrival
from service.past_surveys import past_surveys
from service.ports import Reader, Store
from service.supply.fitout import FitOut

BATCH = 1000

SET_ASIDE_LIMIT = 1000
"""Packs set aside that are told one by one."""


@dataclass(frozen=True, slots=True)
class ExaminedChime:
    """One chime of a recording: the verdict, and the sides and the sheet it rests on. `presses` without doubtful ones."""

    site: str
    chime: str
    verdict: Verdict
    here: Side
    then: Side | None  # the commissioning record, where the recording has one
    sheet: FitOut
    presses: tuple[model.Press, ...]
    soundings: tuple[model.Sounding, ...]
    blind: tuple[model.BlindSpell, ...]
    outlooks: tuple[Outlook, ...] = ()  # empty without surveys over three weeks
    past: tuple[Surveyed, ...] = ()  # the same surveys, oldest first


@dataclass(frozen=True, slots=True)
class Examined:
    """A recording examined. `silent`: (site, chime) of those that told nothing of supply or presses."""

    chimes: tuple[ExaminedChime, ...]
    silent: tuple[tuple[str, str], ...]
    presses: tuple[model.Press, ...]  # of all chimes
    blind: tuple[model.BlindSpell, ...]
    read: int  # packs
    set_aside: tuple[model.SetAside, ...]
    with_sheet: bool
    first_s: float | None  # when chimes were heard first and last
    last_s: float | None
    unseen: tuple[model.Unseen, ...] = ()

    @property
    def findings(self) -> list[tuple[ExaminedChime, Finding]]:
        """Most likely first."""
        found = [(chime, finding) for chime in self.chimes for finding in chime.verdict.findings]
        return sorted(found, key=lambda one: -one[1].likelihood)

    @property
    def missing(self) -> list[str]:
        """What could not be told, and why."""
        return sorted({said for chime in self.chimes for said in chime.verdict.missing})


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
) -> Examined:
    """By the live engine, in an empty record. A recording of several chimes is judged chime by chime, each by the same sheet."""
    count = take_in(store, arrivals, understander)
    reader = store.reader()
    heard = reader.chimes()
    if sheet is not None:
        with store.work() as work:
            for chime in heard:
                work.keep_fitout(chime.site, chime.chime, sheet, chime.last_heard_s, "recording")
    sites = sorted({chime.site for chime in heard})
    presses = tuple(press for site in sites for press in _all_presses(reader, site) if not press.doubtful)
    spells = (spell for site in sites for spell in reader.blind_spells(site, -inf, inf, inf))
    blind = tuple(spell for spell in spells if spell.door is None)
    unseen = tuple(one for site in sites for one in reader.unseen(site, -inf, inf))
    examined = [_examined(reader, chime, presses, blind) for chime in heard]
    return Examined(
        chimes=tuple(one for one in examined if one is not None),
        silent=tuple((chime.site, chime.chime) for chime, one in zip(heard, examined, strict=True) if one is None),
        presses=presses,
        blind=blind,
        unseen=unseen,
        read=count,
        set_aside=tuple(reader.set_aside(limit=SET_ASIDE_LIMIT)[0]),
        with_sheet=sheet is not None,
        first_s=min((chime.first_heard_s for chime in heard), default=None),
        last_s=max((chime.last_heard_s for chime in heard), default=None),
    )


def answer(examined: Examined) -> dict[str, Any]:
    """As the contract has it ("What examining a recording answers"). `looked_for` says what was looked for; `outlook` is there
    where a chime was surveyed over three weeks."""
    quantities = {name: asdict(one) for chime in examined.chimes for name, one in chime.verdict.quantities.items()}
    ahead = [
        {"site": chime.site, "chime": chime.chime, **telling.outlook(one)}
        for chime in examined.chimes
        for one in chime.outlooks
    ]
    return {
        "quantities": quantities,
        "findings": [telling.judged(finding) for _, finding in examined.findings],
        "presses": [
            {
                "door": press.door,
                "start": telling.rfc3339(press.start_s),
                "end": telling.rfc3339_or_none(press.end_s),
                "pulses": press.pulses,
                "drop_outs": press.drop_outs,
                "bounce": press.bounce,
            }
            for press in examined.presses
        ],
        "unseen": [
            {
                "start": telling.rfc3339(one.start_s),
                "end": telling.rfc3339(one.end_s),
                "why": telling.told_of_unseen(one),
            }
            for one in examined.unseen
        ],
        "blind": [
            {"start": telling.rfc3339(spell.start_s), "end": telling.rfc3339_or_none(spell.end_s), "why": spell.why}
            for spell in examined.blind
        ],
        "looked_for": ["findings", "quantities", "presses", "unseen", "blind", *(["outlook"] if ahead else [])],
        "missing": examined.missing,
        "packs": {
            "read": examined.read,
            "set_aside": [{"topic": pack.topic, "reason": pack.reason} for pack in examined.set_aside],
        },
        **({"outlook": ahead} if ahead else {}),
    }


def _examined(
    reader: Reader, chime: model.Chime, presses: Sequence[model.Press], blind: Sequence[model.BlindSpell]
) -> ExaminedChime | None:
    """None where the chime told nothing of supply or presses."""
    sides: list[tuple[Side, Side | None, FitOut]] = []

    def judge(now: Evidence, commissioning: Evidence | None, sheet: FitOut) -> Verdict:
        here, then = sides_of(now, commissioning, sheet)
        sides.append((here, then, sheet))
        return weighed(here, then, sheet)

    found = examination.examine(reader, judge, chime.site, chime.chime, chime.last_heard_s)
    if found is None:
        return None
    mine = (chime.site, chime.chime)
    here, then, known = sides[-1]
    past = past_surveys(reader, *mine, then)
    ahead = outlooks.of_surveys(past, found.verdict.commissioned, known, chime.last_heard_s) if past else []
    return ExaminedChime(
        *mine,
        found.verdict,
        here,
        then,
        known,
        tuple(press for press in presses if (press.site, press.chime) == mine),
        tuple(reader.soundings(chime.site, -inf, inf, chime.chime)),
        tuple(spell for spell in blind if (spell.site, spell.chime) == mine),
        tuple(ahead),
        tuple(past),
    )


def _all_presses(reader: Reader, site: str) -> Iterable[model.Press]:
    cursor: str | None = None
    while True:
        presses, cursor = reader.presses(site, -inf, inf, cursor=cursor, limit=1000)
        yield from presses
        if cursor is None:
            return
