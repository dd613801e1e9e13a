"""The forms in which the API tells of ways out and their letters, and is told. Each field with an example."""

from typing import Annotated, Any, Literal

from fastapi import Body, Path, Query
from pydantic import AwareDatetime, Field

from adapters.api_forms import Form

OutletId = Annotated[int, Path(ge=1, le=2**31 - 1, examples=[1])]
State = Literal["waiting", "delivered", "dead"]
LetterState = Annotated[State, Query(description="which letters", examples=["dead"])]

EXAMPLES = {
    "webhook": {
        "value": {
            "name": "workshop",
            "way": "webhook",
            "url": "https://automations.tern-cottage.example/bell",
            "kinds": ["press", "alarm"],
        }
    },
    "mail": {
        "value": {
            "name": "Ann, once a day",
            "way": "mail",
            "host": "mail.tern-cottage.example",
            "port": 465,
            "sender": "bell@tern-cottage.example",
            "to": ["ann@tern-cottage.example"],
            "username": "bell",
            "password": "an invented one",
            "digest": "day",
            "quiet_from": "22:00",
            "quiet_until": "07:00",
        }
    },
    "command": {"value": {"name": "lamp", "way": "command", "program": "blink", "arguments": ["hall"]}},
}

OutletWish = Annotated[
    dict[str, Any],
    Body(
        description="one JSON object: `name`, `way` (webhook, mail, command, mqtt) and the fields of that way",
        openapi_examples=EXAMPLES,
    ),
]


class Outbox(Form):
    waiting: int = Field(description="letters that have not been taken yet", examples=[0])
    oldest: AwareDatetime | None = Field(description="since when the oldest of them waits")
    dead: int = Field(description="letters that were given up", examples=[0])
    delivered: AwareDatetime | None = Field(description="when the last one was taken")


class Outlet(Form):
    id: int = Field(examples=[1])
    off: str | None = Field(description="why nothing is sent at present; null: it is")
    outlet: dict[str, Any] = Field(description="as it was given; of what is secret only whether there is any")
    outbox: Outbox


class Outlets(Form):
    outlets: list[Outlet]


class NewOutlet(Outlet):
    keys: list[str] | None = Field(
        description="of a webhook: with what its letters are signed (Standard Webhooks 1.0.0); told this once",
        examples=[["whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"]],
    )


class Letter(Form):
    id: int
    key: str = Field(
        description="the same over all tries, and when it is sent again", examples=["3205-6f1c0a92d3b84e57"]
    )
    state: State
    written: AwareDatetime
    tries: int
    tried: AwareDatetime | None
    due: AwareDatetime | None = Field(description="not tried again before")
    answer: str = Field(description="the last one", examples=["503 Service Unavailable"])
    content: dict[str, Any] = Field(description="the CloudEvent")


class Letters(Form):
    letters: list[Letter]
    cursor: str | None = Field(description="of the next page; null: there is none")


class SwitchWish(Form):
    on: bool
    why: str = Field("", description="why it is switched off", examples=["the workshop is closed"])


class ResendWish(Form):
    letters: list[int] | None = Field(None, description="null: all dead ones", examples=[[17]], max_length=1000)


class Resent(Form):
    letters: int = Field(description="how many go again", examples=[1])


class Tested(Form):
    delivered: bool
    answer: str = Field(examples=["204 No Content"])
