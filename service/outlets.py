"""What a way out is: where it leads, which events it gets, and when they may go.

From and to JSON: `outlet_form.py`. When a letter is tried again: `retries.py`. Knows no network and no store.
"""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Literal
from zoneinfo import ZoneInfo

from service.alarms.rules import Priority
from service.model import Event, EventKind

Digest = Literal["each", "hour", "day"]
GOING_OUT: tuple[EventKind, ...] = ("press", "visit", "unseen", "blind", "finding", "alarm")
"""Kinds of events that a way out may get. Presence and supply are for those who listen live."""

URGENCY = {Priority.LOW: 0, Priority.MEDIUM: 1, Priority.HIGH: 2, Priority.CRITICAL: 3}
PRIORITY: dict[str, Priority] = {"visit": Priority.LOW}
"""Of kinds that bring no priority of their own, as alarms do (chosen); the others are medium."""

MOST_OUTLETS = 20
"""Each has a thread of its own (chosen: far more than a house needs)."""


NO_MORE = "The receiver wants no more letters (410 Gone)."
OFF_BY_SETTING = "The setting mqtt_events says no."
OFF_BY_HAND = "Somebody has switched it off."
"""Why one is off."""


@dataclass(frozen=True, slots=True)
class Webhook:
    """`keys` sign; the first is the present one, a second one is being replaced (Standard Webhooks 1.0.0)."""

    url: str
    keys: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Mail:
    """`security`: "tls" from the first byte, "starttls", or "none" in the house's own network."""

    host: str
    port: int
    sender: str
    to: tuple[str, ...]
    security: Literal["tls", "starttls", "none"] = "tls"
    username: str = ""
    password: str = ""
    digest: Digest = "each"
    digest_hour: int = 8  # local, of a digest by day


@dataclass(frozen=True, slots=True)
class Command:
    """`program`: a file in the folder of programs. It gets the event on its standard input, and these arguments."""

    program: str
    arguments: tuple[str, ...] = ()
    time_limit_s: float = 10.0


@dataclass(frozen=True, slots=True)
class Broker:
    """The broker at which this bridge listens, on the topics of the contract."""


Way = Webhook | Mail | Command | Broker
WAYS: dict[str, type[Webhook] | type[Mail] | type[Command] | type[Broker]] = {
    "webhook": Webhook,
    "mail": Mail,
    "command": Command,
    "mqtt": Broker,
}


@dataclass(frozen=True, slots=True)
class Outlet:
    """A way out. Below `lowest` nothing goes out at all; in quiet hours, and while `person` is away, what is below the
    priority given for them is held until that is over. `site` None: of every house."""

    name: str
    way: Way
    kinds: tuple[EventKind, ...] = GOING_OUT
    site: str | None = None
    lowest: Priority = Priority.LOW
    quiet_from: str | None = None  # local time, HH:MM
    quiet_until: str | None = None
    quiet_lowest: Priority = Priority.CRITICAL
    person: str | None = None
    away_lowest: Priority | None = None  # None: an absence changes nothing
    time_zone: str = "UTC"
    id: int = 0
    off: str = ""  # why nothing is sent at present; empty: it is

    @property
    def digest(self) -> Digest:
        return self.way.digest if isinstance(self.way, Mail) else "each"

    def wants(self, event: Event) -> bool:
        """Doubtful presses are told to nobody by themselves; an alarm writes a mail where it calls people, not at each of its turns."""
        return (
            event.kind in self.kinds
            and self.site in (None, event.site)
            and not event.data.get("doubtful")
            and not (isinstance(self.way, Mail) and event.data.get("told") == "stated")
            and urgency(event) >= URGENCY[self.lowest]
        )

    def lets_through(self, at_s: float, is_away: bool) -> int:
        """From which urgency on events go out at this moment."""
        least = 0
        if self._is_quiet(at_s):
            least = URGENCY[self.quiet_lowest]
        if is_away and self.away_lowest is not None:
            least = max(least, URGENCY[self.away_lowest])
        return least

    def collected_until_s(self, first_s: float) -> float:
        """When a digest whose first event was written at `first_s` is sent: the next full hour, or the hour of the day."""
        if self.digest == "each":
            return first_s
        local = datetime.fromtimestamp(first_s, UTC).astimezone(ZoneInfo(self.time_zone))
        if self.digest == "hour":
            return first_s - (local.minute * 60 + local.second + local.microsecond / 1e6) + 3600.0
        assert isinstance(self.way, Mail)
        then = local.replace(hour=self.way.digest_hour, minute=0, second=0, microsecond=0, fold=0)
        if then <= local:
            then = (then.replace(tzinfo=None) + timedelta(days=1)).replace(tzinfo=local.tzinfo)
        return then.timestamp()

    def _is_quiet(self, at_s: float) -> bool:
        if self.quiet_from is None or self.quiet_until is None:
            return False
        local = f"{datetime.fromtimestamp(at_s, UTC).astimezone(ZoneInfo(self.time_zone)):%H:%M}"
        if self.quiet_from <= self.quiet_until:
            return self.quiet_from <= local < self.quiet_until
        return local >= self.quiet_from or local < self.quiet_until


def urgency(event: Event) -> int:
    """Of an event, as a number that can be compared."""
    told = event.data.get("priority") if event.kind == "alarm" else None
    return URGENCY[Priority(told) if told is not None else PRIORITY.get(event.kind, Priority.MEDIUM)]
