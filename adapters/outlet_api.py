"""The part of the JSON API about ways out: which there are, what waits for them, and a test of each."""

from typing import Any

from fastapi import APIRouter, Response

from adapters import outlet_forms as forms
from adapters.api_forms import PROBLEMS, Limit
from service.outbox_ports import Letter, OutboxReader
from service.outlet_actions import OutletActions
from service.outlet_form import told_outlet
from service.outlets import Outlet, Webhook
from service.telling import rfc3339, rfc3339_or_none


def build(reader: OutboxReader, actions: OutletActions) -> APIRouter:
    router = APIRouter(prefix="/api/v1/outlets", tags=["ways out"], responses=PROBLEMS)
    _outlets(router, reader, actions)
    _letters(router, reader, actions)
    return router


def _outlets(router: APIRouter, reader: OutboxReader, actions: OutletActions) -> None:
    def answer(outlet: Outlet) -> dict[str, Any]:
        told = told_outlet(outlet)
        waiting = reader.outbox(outlet.id)
        return {
            "id": told.pop("id"),
            "off": told.pop("off"),
            "outlet": told,
            "outbox": {
                "waiting": waiting.waiting,
                "oldest": rfc3339_or_none(waiting.oldest_s),
                "dead": waiting.dead,
                "delivered": rfc3339_or_none(waiting.delivered_s),
            },
        }

    @router.get("", response_model=forms.Outlets)
    def outlets() -> dict[str, Any]:
        return {"outlets": [answer(one) for one in reader.outlets()]}

    @router.post("", status_code=201, response_model=forms.NewOutlet)
    def add(wish: forms.OutletWish) -> dict[str, Any]:
        """Add a way out. Events from now on go there. A webhook that brings no key gets one, which is told this once."""
        outlet = actions.add(wish)
        return answer(outlet) | {"keys": list(outlet.way.keys) if isinstance(outlet.way, Webhook) else None}

    @router.get("/{outlet}", response_model=forms.Outlet)
    def outlet(outlet: forms.OutletId) -> dict[str, Any]:
        return answer(reader.outlet(outlet))

    @router.put("/{outlet}", response_model=forms.Outlet)
    def change(outlet: forms.OutletId, wish: forms.OutletWish) -> dict[str, Any]:
        """What it is to be from now on; what is secret and not given stays."""
        return answer(actions.change(outlet, wish))

    @router.delete("/{outlet}", status_code=204, response_class=Response)
    def remove(outlet: forms.OutletId) -> None:
        """With the letters that wait for it."""
        actions.remove(outlet)

    @router.post("/{outlet}/switch", response_model=forms.Outlet)
    def switch(outlet: forms.OutletId, wish: forms.SwitchWish) -> dict[str, Any]:
        """Off: no letters are written for it, and those that wait go on waiting."""
        return answer(actions.switch(outlet, wish.on, wish.why))

    @router.post("/{outlet}/test", response_model=forms.Tested)
    def test(outlet: forms.OutletId) -> dict[str, Any]:
        """Send a test event now, past the queue and quiet hours, and tell what became of it."""
        told = actions.test(outlet)
        return {"delivered": told.delivered, "answer": told.told}


def _letters(router: APIRouter, reader: OutboxReader, actions: OutletActions) -> None:
    @router.get("/{outlet}/letters", response_model=forms.Letters)
    def letters(
        outlet: forms.OutletId, state: forms.LetterState = "dead", cursor: str | None = None, limit: Limit = 100
    ) -> dict[str, Any]:
        """Events on their way, taken or given up; newest first. What was taken is kept for a week, what was given up for a month."""
        reader.outlet(outlet)
        found, onward = reader.letters(outlet, state, cursor=cursor, limit=limit)
        return {"letters": [_told(one) for one in found], "cursor": onward}

    @router.post("/{outlet}/letters/resend", response_model=forms.Resent)
    def resend(outlet: forms.OutletId, wish: forms.ResendWish) -> dict[str, Any]:
        """Dead letters go to the end of the queue again, each with its key."""
        return {"letters": actions.resend(outlet, wish.letters)}

    @router.post("/{outlet}/letters/hurry", status_code=204, response_class=Response)
    def hurry(outlet: forms.OutletId) -> None:
        """What waits to be tried again is tried now."""
        actions.hurry(outlet)


def _told(letter: Letter) -> dict[str, Any]:
    return {
        "id": letter.id,
        "key": letter.key,
        "state": letter.state,
        "written": rfc3339(letter.written_s),
        "tries": letter.tries,
        "tried": rfc3339_or_none(letter.tried_s),
        "due": rfc3339_or_none(letter.due_s),
        "answer": letter.answer,
        "content": letter.content,
    }
