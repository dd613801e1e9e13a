"""What the service asks of the record about ways out: which there are, and the letters that wait for them.

A letter is one event on its way to one outlet. The values come first, then the questions (a part of `ports.Reader`), the writing
(a part of `ports.Work`), and what carries letters out.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Literal, Protocol

from service.outlets import Outlet
from service.retries import Answer

LetterState = Literal["waiting", "delivered", "dead"]


@dataclass(frozen=True, slots=True)
class Letter:
    """`key` is the idempotency key: the same over all tries, and when it is sent again. `content`: a CloudEvent."""

    id: int
    outlet_id: int
    key: str
    written_s: float
    urgency: int
    content: dict[str, Any]
    state: LetterState = "waiting"
    tries: int = 0
    first_s: float | None = None  # tried
    tried_s: float | None = None  # last
    due_s: float | None = None  # not to be tried again before
    answer: str = ""  # the last one


@dataclass(frozen=True, slots=True)
class Waiting:
    """How much there is of an outlet: letters that wait and since when the oldest does, and dead ones."""

    waiting: int
    oldest_s: float | None
    dead: int
    delivered_s: float | None = None  # the last one


class Sender(Protocol):
    """Carries letters to one outlet, in the outlet's own thread. `send` answers and does not raise for what is to be expected."""

    def send(self, letters: Sequence[Letter], now_s: float) -> Answer: ...
    def close(self) -> None: ...


OpenSender = Callable[[Outlet], Sender]


class OutboxReader(Protocol):
    """Part of `ports.Reader`."""

    def outlets(self) -> Sequence[Outlet]:
        """By number."""
        ...

    def outlet(self, outlet_id: int) -> Outlet:
        """Raises NotFound."""
        ...

    def waiting_letters(self, outlet_id: int, urgency: int, limit: int) -> Sequence[Letter]:
        """The first ones that are at least so urgent, in order."""
        ...

    def letters(
        self, outlet_id: int, state: LetterState, *, cursor: str | None = None, limit: int = 100
    ) -> tuple[Sequence[Letter], str | None]:
        """A page of letters, newest first, and the cursor of the next page."""
        ...

    def outbox(self, outlet_id: int) -> Waiting: ...

    def told_visits(self, since_s: float) -> set[int]:
        """Numbers of the visits of which events were told since then."""
        ...


class OutboxWork(Protocol):
    """Part of `ports.Work`. Letters are written by `Work.add_event`, with the event. Raises NotFound."""

    def put_outlet(self, outlet: Outlet) -> int:
        """A new one (`id` 0), or in place of the one of this number; its number. Raises Refused for too many, or a name twice."""
        ...

    def switch_outlet(self, outlet_id: int, off: str) -> None:
        """Say why nothing is to be sent at present; empty: it is sent. What waits already goes on waiting."""
        ...

    def remove_outlet(self, outlet_id: int) -> None:
        """With its letters."""
        ...

    def letters_delivered(self, letter_ids: Sequence[int], at_s: float, answer: str) -> None: ...
    def letters_failed(self, letter_ids: Sequence[int], at_s: float, answer: str, due_s: float | None) -> None:
        """They are tried again at `due_s`, or (None) dead."""
        ...

    def hurry_letters(self, outlet_id: int) -> None:
        """What waits to be tried again is due now."""
        ...

    def resend_letters(self, outlet_id: int, letter_ids: Sequence[int] | None, at_s: float) -> int:
        """Dead letters (None: all) go to the end of the queue again, with their keys; how many."""
        ...

    def forget_letters(self, delivered_before_s: float, dead_before_s: float) -> None: ...
