"""The cadences that a house has taught, and how its lesson stands: each drawn on one line of seconds. Makes contexts; knows no HTTP."""

from collections.abc import Sequence

from dashboard import caller_contexts, words
from dashboard.house import House
from dashboard.lanes import at_the, door_name
from dashboard.language import figure, resaid, say
from dashboard.phrase import Held as Press
from dashboard.phrase import draw, length_of
from service.presses.cadence import Cadence, Interval
from service.presses.lesson import EXAMPLES, LESSON_S, PARTED_S
from service.teaching import Held
from service.who_ports import Taught


def taught(house: House, found: Sequence[Taught]) -> list[caller_contexts.TaughtCadence]:
    """All on one scale, so that a long one is seen to be long."""
    phrases = [_phrase(one.cadence) for one in found]
    whole_s = max((length_of(one) for one in phrases), default=1.0)
    return [
        caller_contexts.TaughtCadence(
            one.cadence.name,
            draw(phrase, whole_s, scale=False),
            _told(house, one),
        )
        for one, phrase in zip(found, phrases, strict=True)
    ]


def _phrase(cadence: Cadence) -> list[Press]:
    presses, at_s = [], 0.0
    for number, hold_s in enumerate(cadence.holds_s):
        presses.append(Press(at_s, hold_s))
        at_s += hold_s + (cadence.gaps_s[number] if number < len(cadence.gaps_s) else 0.0)
    return presses


def _told(house: House, fact: Taught) -> str:
    cadence = fact.cadence
    holds = words.listed([words.duration(one) for one in cadence.holds_s])
    missed = round(1000 * (1 - cadence.recognised))
    wrong = max(1, -(-round(1e6 * cadence.mistaken) // 100))  # of 10,000, rounded up
    since = words.stamp(fact.taught_s, house.now_s, house.zone)
    return " ".join(
        words.sentence(part)
        for part in (
            say(
                "{presses}, held for {holds}",
                presses=words.counted(len(cadence.holds_s), "press", "presses"),
                holds=holds,
            ),
            say(
                "of 1,000 times that you press it {number} are missed, and of 10,000 other visits at most "
                "{number2} will be taken for it",
                number=words.number(missed),
                number2=words.number(wrong),
            ),
            say("taught by {by}; visits since {since} are told by it", by=words.person(fact.by), since=since),
        )
    )


def lesson(house: House, held: Held | None) -> caller_contexts.Lesson | None:
    """The last lesson, with a wire for each of its examples: those to come are still blank."""
    if held is None:
        return None
    heard = [_heard(example) for example in held.lesson.examples]
    whole_s = max((length_of(one) for one in heard), default=2.0)
    door = next((one for one in house.doors if (one.chime, one.door) == (held.chime, held.door)), None)
    name = door_name(door) if door else held.door
    listening = not held.is_over and held.lesson.stage(house.now_s) == "listening"
    return caller_contexts.Lesson(
        name=held.lesson.name,
        heading=say("Lesson: “{name}”, at {at_the}", name=held.lesson.name, at_the=at_the(name)),
        told=_stands(house, held, listening),
        examples=[draw(one, whole_s, scale=False) for one in heard],
        to_come=EXAMPLES - len(heard) if listening else 0,
        listening=listening,
        refused=held.refused is not None,
    )


def _heard(example: Sequence[Interval]) -> list[Press]:
    return [Press(start_s - example[0][0], None if end_s is None else end_s - start_s) for start_s, end_s in example]


def _stands(house: House, held: Held, listening: bool) -> str:
    name = held.lesson.name
    if held.refused is not None:
        return say(
            "{refused} Nothing was taught; begin the lesson again.", refused=words.sentence(resaid(held.refused))
        )
    if held.kept:
        return say("“{name}” is taught. From now on it is recognised.", name=name)
    heard = words.counted(len(held.lesson.examples), "example")
    if not listening and len(held.lesson.examples) < EXAMPLES:
        return say(
            "The lesson ended after {lesson_s} minutes with {heard} of {number}. Nothing was taught.",
            lesson_s=figure(LESSON_S / 60, ".0f"),
            heard=heard,
            number=words.number(EXAMPLES),
        )
    again = say("again") if held.lesson.examples else words.times(EXAMPLES)
    return say(
        "{value} Press it the same way {again}, and wait longer than {parted_s}\u202fs between one and the "
        "next. The door listens until {clock}.",
        value=words.sentence(say("{heard} of {number} heard", heard=heard, number=words.number(EXAMPLES))),
        again=again,
        parted_s=figure(PARTED_S, ".0f"),
        clock=words.clock(held.lesson.ends_s, house.zone),
    )
