"""The part of the JSON API about alarms: how they stand, what they went through, their rules, and how well they do."""

from typing import Annotated, Any

from fastapi import APIRouter, Query, Response

from adapters import alarm_forms as forms
from adapters.api_forms import PROBLEMS, ChimeName, End, Limit, SiteName, Start, stretch_of
from service.alarm_actions import AlarmActions
from service.alarm_ports import KeptRule
from service.alarms.life import Event
from service.alarms.rule_form import write_rule
from service.alarms.trial import Spoken
from service.ports import Clock, Reader
from service.telling import rfc3339, rfc3339_or_none

WISHES = {
    "acknowledge": Event.ACKNOWLEDGE,
    "reset": Event.RESET,
    "shelve": Event.SHELVE,
    "unshelve": Event.UNSHELVE,
    "take out of service": Event.TAKE_OUT,
    "put back into service": Event.PUT_BACK,
}

Who = Annotated[str, Query(max_length=80, description="who does it, for the record", examples=["Ann"])]


def build(reader: Reader, actions: AlarmActions, clock: Clock) -> APIRouter:
    router = APIRouter(prefix="/api/v1/sites/{site}", tags=["alarms"], responses=PROBLEMS)
    _alarms(router, reader, actions, clock)
    _rules(router, reader, actions)
    return router


def _alarms(router: APIRouter, reader: Reader, actions: AlarmActions, clock: Clock) -> None:
    @router.get("/chimes/{chime}/alarms", response_model=forms.Alarms)
    def alarms(site: SiteName, chime: ChimeName, active: bool = False) -> dict[str, Any]:
        """Every rule with how its alarm stands; with `active` only those that are not at normal."""
        reader.chime(site, chime)
        told = [_told(one) for one in reader.alarm_rules(site, chime)]
        return {"alarms": [one for one in told if not active or one["state"] not in (None, "normal")]}

    @router.post("/chimes/{chime}/alarms/{rule}", response_model=forms.Alarm)
    def ask(site: SiteName, chime: ChimeName, rule: forms.RuleId, wish: forms.AskWish) -> dict[str, Any]:
        """Acknowledge, shelve for a while, take out of service, or the way back. It is recorded who did it, when and why."""
        until_s = wish.until.timestamp() if wish.until else None
        return _told(actions.ask(site, chime, rule, WISHES[wish.what], wish.who, wish.why, until_s))

    @router.get("/alarms/transitions", response_model=forms.Transitions)
    def transitions(
        site: SiteName, chime: str | None = None, start: Start = None, end: End = None, limit: Limit = 100
    ) -> dict[str, Any]:
        """What the alarms went through: the newest of the stretch, oldest first."""
        reader.site(site)
        found = reader.alarm_transitions(site, chime, *stretch_of(start, end, clock), limit)
        return {
            "transitions": [
                {
                    "chime": of,
                    "rule": one.rule,
                    "at": rfc3339(one.at_s),
                    "before": one.before.value,
                    "after": one.after.value,
                    "event": one.event.value,
                    "told": one.told.value,
                    "who": one.who,
                    "why": one.why,
                    "until": rfc3339_or_none(one.until_s),
                }
                for of, one in found
            ]
        }

    @router.get("/alarms/performance", response_model=forms.Performance)
    def performance(site: SiteName, chime: str | None = None, days: forms.Days = 30.0) -> dict[str, Any]:
        """Rate, floods, chattering, fleeting and stale alarms and the mix of priorities, beside the published figures."""
        report = actions.report(site, chime, days)
        found = report.performance
        return {
            "start": rfc3339(found.from_s),
            "end": rfc3339(found.to_s),
            "enough": found.is_enough,
            "annunciated": found.annunciated,
            "per_day": found.per_day,
            "figures": [
                {
                    "name": one.name,
                    "value": one.value,
                    "unit": one.unit,
                    "acceptable": one.acceptable,
                    "most": one.most,
                    "verdict": one.verdict,
                }
                for one in found.figures
            ],
            "floods": [
                {"start": rfc3339(one.start_s), "end": rfc3339(one.end_s), "alarms": one.alarms} for one in found.floods
            ],
            "chattering": found.chattering,
            "fleeting": found.fleeting,
            "stale": list(found.stale),
            "mix": {priority.value: share for priority, share in found.mix.items()},
            "top": [one._asdict() for one in found.top],
            "worst": None if found.worst is None else found.worst._asdict(),
            "proposals": [
                {"rule": write_rule(one.rule), "field": one.field, "value": one.value, "sentence": one.sentence}
                for one in report.proposals
            ],
        }


def _rules(router: APIRouter, reader: Reader, actions: AlarmActions) -> None:
    place = "/chimes/{chime}/rules"

    @router.put(place, response_model=forms.Alarm)
    def put(site: SiteName, chime: ChimeName, wish: forms.RuleWish, who: Who = "") -> dict[str, Any]:
        """Add a rule, or change the one with this id. Try it first. A bad one is refused with every field and its reason."""
        return _told(actions.put(site, chime, wish, who))

    @router.post(place + "/trial", response_model=forms.Trial)
    def trial(site: SiteName, chime: ChimeName, wish: forms.RuleWish, days: forms.Days = 30.0) -> dict[str, Any]:
        """What this rule would have said in the last days. Nothing is changed."""
        found = actions.try_on(site, chime, wish, days)
        return {
            "sentence": found.sentence,
            "known_days": round(found.known_s / 86_400.0, 3),
            "withheld": found.withheld,
            "spoken": [_spoken(one) for one in found.spoken],
        }

    @router.post(place + "/{rule}/switch", response_model=forms.Alarm)
    def switch(site: SiteName, chime: ChimeName, rule: forms.RuleId, wish: forms.SwitchWish) -> dict[str, Any]:
        return _told(actions.switch(site, chime, rule, wish.on, wish.why))

    @router.post(place + "/{rule}/ready", response_model=forms.Alarm)
    def ready(site: SiteName, chime: ChimeName, rule: forms.RuleId) -> dict[str, Any]:
        """As the ready set has it, again."""
        return _told(actions.make_ready(site, chime, rule))

    @router.delete(place + "/{rule}", status_code=204, response_class=Response)
    def remove(site: SiteName, chime: ChimeName, rule: forms.RuleId) -> None:
        """Somebody's own rule; one of the ready set is switched off instead."""
        actions.remove(site, chime, rule)


def _told(one: KeptRule) -> dict[str, Any]:
    alarm = one.standing.alarm if one.standing is not None and not one.off else None
    return {
        "rule": write_rule(one.rule),
        "ready": one.ready is not None,
        "changed_by": one.changed_by or None,
        "off": one.off or None,
        "state": alarm.state.value if alarm else None,
        "active": alarm.is_active if alarm else False,
        "suppressed": alarm.is_suppressed if alarm else False,
        "since": rfc3339_or_none(alarm.since_s) if alarm else None,
        "annunciated": rfc3339_or_none(alarm.annunciated_s) if alarm else None,
        "shelved_until": rfc3339_or_none(alarm.shelved_until_s) if alarm else None,
    }


def _spoken(one: Spoken) -> dict[str, Any]:
    return {
        "rule": one.rule,
        "at": rfc3339(one.at_s),
        "event": one.event.value,
        "why": one.why,
        "gone": rfc3339_or_none(one.gone_s),
    }
