"""What the template of the sheet of ways out is given. See contexts.py."""

from collections.abc import Sequence
from dataclasses import dataclass

from dashboard.alarm_contexts import Said
from dashboard.contexts import Head


@dataclass(frozen=True, slots=True)
class WayOut:
    """`leads`: where to and on which conditions; `stands`: what has become of its events. `tried`: one was, and not taken; `dead`:
    some have been given up."""

    id: int
    name: str
    leads: str
    stands: str
    on: bool
    tried: bool
    dead: bool


@dataclass(frozen=True, slots=True)
class WaysOut:
    head: Head
    at: str
    date: str
    headline: str
    lead: str
    ways: Sequence[WayOut]
    said: Said
