"""How facts of the record are told to machines: JSON-ready dicts, the same over the API and in the live stream.

Times become RFC 3339 here, in UTC. Knows no HTTP.
"""

from dataclasses import asdict
from datetime import UTC, datetime
from math import floor
from typing import Any

from service import model
from service.alarms.alarm import Transition
from service.alarms.rules import Rule
from service.finding_ports import Commissioning, Examination, KeptSheet, QuantityPoint
from service.findings.advice import ADVICE
from service.findings.life import Held
from service.findings.outlook import Outlook
from service.findings.verdict import Finding


def rfc3339(time_s: float) -> str:
    """A POSIX time as RFC 3339 in UTC. Cut, not rounded, so that what begins at this time is found by asking from it.

    >>> rfc3339(1789380000.25)
    '2026-09-14T10:00:00.250000Z'
    """
    whole = datetime.fromtimestamp(floor(time_s * 1e6) // 1_000_000, UTC)
    return f"{whole:%Y-%m-%dT%H:%M:%S}.{floor(time_s * 1e6) % 1_000_000:06d}Z"


def rfc3339_or_none(time_s: float | None) -> str | None:
    return None if time_s is None else rfc3339(time_s)


def press(fact: model.Press) -> dict[str, Any]:
    return {
        "id": fact.id,
        "visit": fact.visit_id,
        "site": fact.site,
        "chime": fact.chime,
        "door": fact.door,
        "start": rfc3339(fact.start_s),
        "end": rfc3339_or_none(fact.end_s),
        "uncertainty_s": round(fact.uncertainty_s, 3),
        "source": fact.source,
        "pulses": fact.pulses,
        "drop_outs": fact.drop_outs,
        "longest_gap_s": round(fact.longest_gap_s, 4),
        "bounce": fact.bounce,
        "sure": fact.sure,
        "doubtful": fact.doubtful,
        "cut_off": fact.cut_off,
    }


def visit(fact: model.Visit) -> dict[str, Any]:
    return {
        "id": fact.id,
        "site": fact.site,
        "chime": fact.chime,
        "door": fact.door,
        "start": rfc3339(fact.start_s),
        "end": rfc3339(fact.end_s),
        "sounded": fact.sounded,
        "doubtful": fact.doubtful,
        "cadence": fact.cadence,
        "who": fact.who,
        "note": fact.note,
        "presses": [press(one) for one in fact.presses],
    }


def supply(fact: model.SupplyPoint) -> dict[str, Any]:
    return {
        "start": rfc3339(fact.start_s),
        "end": rfc3339(fact.end_s),
        "windows": fact.windows,
        "mean_v": fact.mean_v,
        "min_v": fact.min_v,
        "max_v": fact.max_v,
        "low_v": fact.low_v,
        "regulated_min_v": fact.regulated_min_v,
        "temperature_c": fact.temperature_c,
        "link_dbw": fact.link_dbw,
    }


def presence(at_s: float, alive: bool) -> dict[str, Any]:
    return {"at": rfc3339(at_s), "alive": alive}


def chime(fact: model.Chime) -> dict[str, Any]:
    return {
        "site": fact.site,
        "chime": fact.chime,
        "claimed": fact.claimed,
        "device": fact.device,
        "first_heard": rfc3339(fact.first_heard_s),
        "last_heard": rfc3339(fact.last_heard_s),
        "alive": fact.alive,
        "alive_since": rfc3339_or_none(fact.alive_since_s),
        "level": list(fact.level),
    }


def door(fact: model.Door) -> dict[str, Any]:
    return {
        "site": fact.site,
        "chime": fact.chime,
        "door": fact.door,
        "name": fact.name,
        "first_heard": rfc3339(fact.first_heard_s),
    }


def blind_spell(fact: model.BlindSpell) -> dict[str, Any]:
    return {
        "site": fact.site,
        "chime": fact.chime,
        "start": rfc3339(fact.start_s),
        "end": rfc3339_or_none(fact.end_s),
        "why": fact.why,
        "door": fact.door,
        "packs": fact.packs,
        "records": fact.records,
    }


def unseen(fact: model.Unseen) -> dict[str, Any]:
    return {
        "site": fact.site,
        "chime": fact.chime,
        "start": rfc3339(fact.start_s),
        "end": rfc3339(fact.end_s),
        "why": list(fact.why),
        "told": told_of_unseen(fact),
        "rise_v": None if fact.rise_v is None else round(fact.rise_v, 3),
        "packs": fact.packs,
        "records": fact.records,
    }


def told_of_unseen(fact: model.Unseen) -> str:
    """One or two sentences for the log.

    >>> told_of_unseen(model.Unseen("tern-cottage", "hall", 0.0, 40.0, ("packs missing",), packs=3))
    'Packs of the chime are missing, 3 of them: a press may be among them.'
    """
    if fact.why == ("packs missing",):
        return f"Packs of the chime are missing, {fact.packs} of them: a press may be among them."
    if fact.why == ("records dropped",):
        return f"The chime threw away {fact.records} records that it could not send: a press may be among them."
    signs = {
        "rail rose": f"the rail rose by {fact.rise_v or 0.0:.2f} V, and no detector saw a pulse",
        "sounded alone": "the chime sounded, and no press was recorded",
        "restarted": "the chime lost its supply for a moment, as a press can do where the supply is weak",
    }
    likely = "possibly" if fact.why == ("restarted",) else "probably"
    return f"Somebody {likely} pressed: {'; '.join(signs[why] for why in fact.why)}."


def redating(fact: model.Redating) -> dict[str, Any]:
    return {
        "site": fact.site,
        "chime": fact.chime,
        "at": rfc3339(fact.at_s),
        "start": rfc3339(fact.start_s),
        "end": rfc3339(fact.end_s),
        "shift_s": round(fact.shift_s, 3),
        "why": fact.why,
    }


def boot(fact: model.Boot) -> dict[str, Any]:
    return {
        "site": fact.site,
        "chime": fact.chime,
        "number": fact.number,
        "cause": fact.cause,
        "start": rfc3339(fact.start_s),
        "last_heard": rfc3339(fact.last_heard_s),
    }


def alarm(rule: Rule, one: Transition) -> dict[str, Any]:
    """A transition of an alarm, with what a person is told and should do."""
    door = getattr(rule.watch, "door", None)
    return {
        "rule": rule.id,
        **({"door": door} if door else {}),
        "state": one.after.value,
        "before": one.before.value,
        "event": one.event.value,
        "told": one.told.value,
        "since": rfc3339(one.at_s),
        "who": one.who,
        "why": one.why,
        "until": rfc3339_or_none(one.until_s),
        "priority": rule.priority.value,
        "cause": rule.cause,
        "consequence": rule.consequence,
        "action": rule.action,
    }


def judged(found: Finding) -> dict[str, Any]:
    """A finding as the contract has it."""
    advice = ADVICE[found.name]
    return {
        "name": found.name,
        "title": advice.title,
        "door": found.door,
        "likelihood": round(found.likelihood, 3),
        "also_possible": list(found.also_possible),
        "since": rfc3339_or_none(found.since_s),
        "evidence": [asdict(line) for line in found.evidence],
        "on_site": advice.on_site,
        "caution": advice.caution,
    }


def finding(fact: Held) -> dict[str, Any]:
    """The same with its life beside."""
    return {
        "id": fact.id,
        "site": fact.site,
        "chime": fact.chime,
        **judged(fact.finding),
        "state": fact.state.value,
        "raised": rfc3339(fact.raised_s),
        "last_found": rfc3339(fact.found_s),
        "cleared": rfc3339_or_none(fact.cleared_s),
        "changes": [
            {"at": rfc3339(one.at_s), "before": one.before, "after": one.after.value, "why": one.why}
            for one in fact.changes
        ],
    }


def examination(fact: Examination) -> dict[str, Any]:
    return {
        "site": fact.site,
        "chime": fact.chime,
        "examined": rfc3339(fact.examined_s),
        "testimony_until": rfc3339(fact.newest_s) if fact.pack_id else None,
        "survey": rfc3339_or_none(fact.survey_s),
        "missing": list(fact.missing),
        "trouble": fact.trouble,
    }


def commissioning(fact: Commissioning) -> dict[str, Any]:
    return {
        "taken": rfc3339(fact.taken_s),
        "by": fact.by or None,
        "start": rfc3339(fact.start_s),
        "end": rfc3339(fact.end_s),
        "packs": fact.packs,
    }


def fitout(fact: KeptSheet) -> dict[str, Any]:
    return {"kept": rfc3339(fact.kept_s), "by": fact.by or None, "sheet": fact.sheet}


def quantity(fact: QuantityPoint) -> dict[str, Any]:
    return {"at": rfc3339(fact.at_s), **asdict(fact.measured)}


def outlook(fact: Outlook) -> dict[str, Any]:
    limit = fact.limit
    return {
        "quantity": fact.name,
        "readings": fact.readings,
        "span_s": round(fact.span_s),
        "value": fact.value,
        "drifts": fact.drifts,
        "per_year": asdict(fact.per_year) if fact.per_year else None,
        "share_per_year": asdict(fact.share_per_year) if fact.share_per_year else None,
        "limit": None
        if limit is None
        else {"value": limit.value, "side": "above" if limit.low else "below", "reason": limit.reason},
        "passed": fact.passed,
        "meets": None
        if fact.at_s is None
        else {
            "at": rfc3339(fact.at_s),
            "earliest": rfc3339_or_none(fact.earliest_s),
            "latest": rfc3339_or_none(fact.latest_s),
        },
        "why": fact.why,
        "changed": rfc3339_or_none(fact.changed_s),
        "changed_from": fact.changed_from,
    }
