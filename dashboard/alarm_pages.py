"""Routes of the Alarms sheet (acknowledge, shelve, take out of service, switch a rule) and of the sheet of one rule (try it, change it).

Draws nothing; writes only through its actions.
"""

from collections.abc import Callable, Mapping
from typing import Annotated, Any, Protocol

from fastapi import APIRouter, Form, Query, Request, Response
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import RedirectResponse

from dashboard import alarms_sheet, rule_sheet
from dashboard.alarm_contexts import Said
from dashboard.alarms_sheet import DONE
from dashboard.house import House
from dashboard.language import resaid, say
from dashboard.sheets import Sheets, name_of
from service.alarm_ports import KeptRule
from service.alarms.life import Event
from service.alarms.rule_form import write_rule
from service.alarms.rules import RuleRefused
from service.alarms.trial import Trial
from service.errors import Refused
from service.ports import Reader

Short = Annotated[str, Form(max_length=300)]
Done = Annotated[str, Query(max_length=20)]

WISHES = {
    "acknowledge": (Event.ACKNOWLEDGE, "acknowledged"),
    "shelve": (Event.SHELVE, "shelved"),
    "take_out": (Event.TAKE_OUT, "out"),
    "unshelve": (Event.UNSHELVE, "back"),
    "put_back": (Event.PUT_BACK, "back"),
    "reset": (Event.RESET, "back"),
}
WHILES_S = {"hour": 3600.0, "day": 86_400.0, "week": 7 * 86_400.0}


class Actions(Protocol):
    """Each raises NotFound, Refused or StoreUnavailable."""

    def ask(
        self, site: str, chime: str, rule_id: str, event: Event, who: str, why: str = "", until_s: float | None = None
    ) -> Any: ...
    def rule(self, site: str, chime: str, rule_id: str) -> KeptRule: ...
    def switch(self, site: str, chime: str, rule_id: str, on: bool, why: str) -> Any: ...
    def put(self, site: str, chime: str, given: Mapping[str, Any], who: str) -> Any: ...
    def make_ready(self, site: str, chime: str, rule_id: str) -> Any: ...
    def try_on(self, site: str, chime: str, given: Mapping[str, Any], days: float) -> Trial: ...


def add(
    router: APIRouter,
    sheets: Sheets,
    reader: Reader,
    actions: Actions | None,
    clock: Callable[[], float],
    house_of: Callable[[str, float], House],
) -> None:
    def sheet(request: Request, site: str, said: Said) -> Response:
        house = house_of(site, clock())
        context = alarms_sheet.make(reader, house, name_of(request), said)
        return sheets.answer("alarms.html", context, 400 if said.refused else 200)

    def change(request: Request, site: str, done: str, action: Callable[[], Any]) -> Response:
        try:
            action()
        except Refused as refusal:
            return sheet(request, site, Said(resaid(str(refusal)), True))
        return RedirectResponse(f"{router.url_path_for('alarms', site=site)}?done={done}", 303)

    @router.get("/house/{site}/alarms", name="alarms")
    def alarms(request: Request, site: str, done: Done = "") -> Response:
        return sheet(request, site, Said(say(DONE.get(done, ""))))

    if actions is None:
        return
    doing = actions

    @router.post("/house/{site}/chime/{chime}/alarm/{rule}", name="ask_alarm")
    def ask(
        request: Request,
        site: str,
        chime: str,
        rule: str,
        wish: Short,
        who: Short = "",
        why: Short = "",
        how_long: Short = "",
    ) -> Response:
        if wish not in WISHES:
            raise Refused(say("That cannot be asked of an alarm."))
        event, done = WISHES[wish]
        until_s = clock() + WHILES_S.get(how_long, WHILES_S["day"]) if event is Event.SHELVE else None
        by = who or name_of(request)
        return change(request, site, done, lambda: doing.ask(site, chime, rule, event, by, why, until_s))

    @router.post("/house/{site}/chime/{chime}/rule/{rule}", name="switch_rule")
    def switch(request: Request, site: str, chime: str, rule: str, on: bool = Form(), why: Short = "") -> Response:
        return change(request, site, "on" if on else "off", lambda: doing.switch(site, chime, rule, on, why))

    def rule_of(
        site: str,
        chime: str,
        rule: str,
        values: Mapping[str, Any] | None = None,
        trial: Trial | None = None,
        refused: RuleRefused | None = None,
    ) -> Response:
        kept = doing.rule(site, chime, rule)
        house = house_of(site, clock())
        context = rule_sheet.make(house, chime, kept, values or write_rule(kept.rule), Said(), trial, refused)
        return sheets.answer("rule.html", context, 400 if refused else 200)

    @router.get("/house/{site}/chime/{chime}/rule/{rule}", name="rule")
    def one_rule(site: str, chime: str, rule: str) -> Response:
        return rule_of(site, chime, rule)

    @router.post("/house/{site}/chime/{chime}/rule/{rule}/values", name="rule_values")
    async def values_form(request: Request, site: str, chime: str, rule: str) -> Response:
        """Whatever blanks there are: which ones depends on what the rule watches."""
        form = {key: value for key, value in (await request.form(max_fields=40)).items() if isinstance(value, str)}
        return await run_in_threadpool(use_values, site, chime, rule, form, name_of(request))

    def use_values(site: str, chime: str, rule: str, form: Mapping[str, str], by: str) -> Response:
        wish, values = form.get("wish"), rule_sheet.filled_in(doing.rule(site, chime, rule).rule, form)
        done = "changed"
        try:
            if wish == "try":
                return rule_of(site, chime, rule, values, doing.try_on(site, chime, values, rule_sheet.DAYS))
            if wish == "ready":
                doing.make_ready(site, chime, rule)
                done = "ready"
            else:
                doing.put(site, chime, values, by)
        except RuleRefused as refusal:
            return rule_of(site, chime, rule, values, refused=refusal)
        return RedirectResponse(f"{router.url_path_for('alarms', site=site)}?done={done}", 303)
