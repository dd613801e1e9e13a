"""The life of an alarm after ISA-18.2-2016 and IEC 62682, with names of states instead of letters. `LIFE` is the specification.

Who takes an alarm through it is `alarm.py`. Knows no time, no rule and no measurement; what comes of an annunciation (a mail, a
sound) is not known here either.
"""

from dataclasses import dataclass
from enum import StrEnum


class State(StrEnum):
    """Where an alarm stands."""

    NORMAL = "normal"
    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED = "returned to normal, unacknowledged"
    LATCHED_UNACKNOWLEDGED = (
        "latched, unacknowledged"  # the condition has gone, which the alarm does not let be forgotten
    )
    LATCHED = "latched, acknowledged"
    SHELVED = "shelved"
    SUPPRESSED = "suppressed by design"
    OUT_OF_SERVICE = "out of service"


class Event(StrEnum):
    """What can happen to an alarm, in the words that are recorded."""

    COMES = "the condition has come"
    WORSENS = "it has become more severe"
    GOES = "the condition has gone"
    REALARM = "the re-alarm time has passed"
    SUPPRESS = "its suppressor has come"
    UNSUPPRESS = "its suppressor has gone"
    ACKNOWLEDGE = "acknowledged"
    RESET = "reset"
    SHELVE = "shelved"
    UNSHELVE = "shelving ended"
    TAKE_OUT = "taken out of service"
    PUT_BACK = "put back into service"


class Told(StrEnum):
    """Who is to hear of a transition."""

    ANNUNCIATED = "annunciated"  # people are called: this is what the published rates count
    STATED = "stated"  # only those who watch
    NOTHING = "nothing"


class Given(StrEnum):
    """What one way out of a state may depend on."""

    ALWAYS = "always"
    LATCHING = "it latches"
    ACTIVE = "the condition is present"
    SUPPRESSED = "its suppressor is present"


@dataclass(frozen=True, slots=True)
class Way:
    """One way that an event can take."""

    after: State
    told: Told = Told.STATED
    given: Given = Given.ALWAYS


Cell = tuple[Way, ...] | str
"""Ways to be tried in this order, where none holds nothing changes; or a sentence with which the event is refused."""

STAYS: Cell = ()
_ALARM: Cell = (Way(State.UNACKNOWLEDGED, Told.ANNUNCIATED),)
_BACK: tuple[Way, ...] = (
    Way(State.SUPPRESSED, given=Given.SUPPRESSED),
    Way(State.UNACKNOWLEDGED, Told.ANNUNCIATED, Given.ACTIVE),
    Way(State.NORMAL),
)
_NOT_SHELVED, _IN_SERVICE = "It is not shelved.", "It is in service."
_NOTHING_TO_RESET = "It does not hold on to anything that could be reset."
_PRESENT = "The condition is still present; what latches can be reset once it has gone."

_WHERE_IT_SPEAKS: dict[
    Event, Cell
] = {  # the six states in which it is neither shelved nor suppressed nor out of service
    Event.SUPPRESS: (Way(State.SUPPRESSED),),
    Event.UNSUPPRESS: STAYS,
    Event.SHELVE: (Way(State.SHELVED),),
    Event.UNSHELVE: _NOT_SHELVED,
    Event.TAKE_OUT: (Way(State.OUT_OF_SERVICE),),
    Event.PUT_BACK: _IN_SERVICE,
}
_WHERE_IT_IS_SILENT: dict[Event, Cell] = {  # the condition is followed, and nobody is called
    Event.COMES: STAYS,
    Event.WORSENS: STAYS,
    Event.GOES: STAYS,
    Event.REALARM: STAYS,
    Event.SUPPRESS: STAYS,
    Event.UNSUPPRESS: STAYS,
}

LIFE: dict[State, dict[Event, Cell]] = {
    State.NORMAL: {
        Event.COMES: _ALARM,
        Event.WORSENS: _ALARM,
        Event.GOES: STAYS,
        Event.REALARM: STAYS,
        Event.ACKNOWLEDGE: "There is nothing to acknowledge; it is normal.",
        Event.RESET: _NOTHING_TO_RESET,
        **_WHERE_IT_SPEAKS,
    },
    State.UNACKNOWLEDGED: {
        Event.COMES: STAYS,
        Event.WORSENS: _ALARM,
        Event.GOES: (Way(State.LATCHED_UNACKNOWLEDGED, given=Given.LATCHING), Way(State.RETURNED)),
        Event.REALARM: _ALARM,
        Event.ACKNOWLEDGE: (Way(State.ACKNOWLEDGED),),
        Event.RESET: _PRESENT,
        **_WHERE_IT_SPEAKS,
    },
    State.ACKNOWLEDGED: {
        Event.COMES: STAYS,
        Event.WORSENS: _ALARM,
        Event.GOES: (Way(State.LATCHED, given=Given.LATCHING), Way(State.NORMAL)),
        Event.REALARM: _ALARM,
        Event.ACKNOWLEDGE: "It has been acknowledged already.",
        Event.RESET: _PRESENT,
        **_WHERE_IT_SPEAKS,
    },
    State.RETURNED: {
        Event.COMES: _ALARM,
        Event.WORSENS: _ALARM,
        Event.GOES: STAYS,
        Event.REALARM: STAYS,
        Event.ACKNOWLEDGE: (Way(State.NORMAL),),
        Event.RESET: _NOTHING_TO_RESET,
        **_WHERE_IT_SPEAKS,
    },
    State.LATCHED_UNACKNOWLEDGED: {
        Event.COMES: _ALARM,
        Event.WORSENS: _ALARM,
        Event.GOES: STAYS,
        Event.REALARM: STAYS,
        Event.ACKNOWLEDGE: (Way(State.LATCHED),),
        Event.RESET: "It must be acknowledged before it can be reset.",
        **_WHERE_IT_SPEAKS,
    },
    State.LATCHED: {
        Event.COMES: _ALARM,
        Event.WORSENS: _ALARM,
        Event.GOES: STAYS,
        Event.REALARM: STAYS,
        Event.ACKNOWLEDGE: "It has been acknowledged already; reset it.",
        Event.RESET: (Way(State.NORMAL),),
        **_WHERE_IT_SPEAKS,
    },
    State.SHELVED: {
        **_WHERE_IT_IS_SILENT,
        Event.ACKNOWLEDGE: "It is shelved; there is nothing to acknowledge until that ends.",
        Event.RESET: "It is shelved; there is nothing to reset until that ends.",
        Event.SHELVE: (Way(State.SHELVED),),  # for longer, or not so long
        Event.UNSHELVE: _BACK,
        Event.TAKE_OUT: (Way(State.OUT_OF_SERVICE),),
        Event.PUT_BACK: _IN_SERVICE,
    },
    State.SUPPRESSED: {
        **_WHERE_IT_IS_SILENT,
        Event.UNSUPPRESS: _BACK[1:],
        Event.ACKNOWLEDGE: "It is suppressed by design; there is nothing to acknowledge until that ends.",
        Event.RESET: "It is suppressed by design; there is nothing to reset until that ends.",
        Event.SHELVE: (Way(State.SHELVED),),
        Event.UNSHELVE: _NOT_SHELVED,
        Event.TAKE_OUT: (Way(State.OUT_OF_SERVICE),),
        Event.PUT_BACK: _IN_SERVICE,
    },
    State.OUT_OF_SERVICE: {
        **_WHERE_IT_IS_SILENT,
        Event.ACKNOWLEDGE: "It is out of service; there is nothing to acknowledge.",
        Event.RESET: "It is out of service; there is nothing to reset.",
        # shelving ends by itself, and would bring it back while somebody works on what it watches
        Event.SHELVE: "It is out of service; put it back before it can be shelved.",
        Event.UNSHELVE: _NOT_SHELVED,
        Event.TAKE_OUT: "It is out of service already.",
        Event.PUT_BACK: _BACK,
    },
}
"""state -> event -> what follows. Every pair has its place: some change nothing, some are refused in words."""

BY_PEOPLE = frozenset((Event.ACKNOWLEDGE, Event.RESET, Event.SHELVE, Event.UNSHELVE, Event.TAKE_OUT, Event.PUT_BACK))
"""What a person asks for, and may be refused. The rest happens."""
