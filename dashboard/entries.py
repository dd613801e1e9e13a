"""What is said of a visit, beside its time and door. Says what was seen, not who or why. Knows no drawing."""

from dashboard import words
from dashboard.house import House
from dashboard.language import figure, marked, say
from service import model

NOTE_BEGUN = 90
"""Characters of a note that stand beside a mark."""

GROWS_S = 10.0
"""A chime tells the first pulse of a press at once and the others later: so long nothing is made of a single one [s]."""

MOVED_S = 1.0
"""What was moved by less is not told as dated anew [s]."""

CAUSES: dict[model.BlindWhy, str] = {
    "chime without power": marked("{who} was without power"),
    "chime restarted": marked("{who} restarted by itself"),
    "buffer overrun": marked("{who} could not send, and had to throw away what it kept"),
    "service down": marked("Bellcrank was not running"),
    "store full": marked("the disk was full"),
    "packs lost": marked("something {who} sent was lost on the way"),
    "chime absent": marked("{who} had taken its leave"),
    "chime silent": marked("{who} was silent"),
    "door not fitted yet": marked("nothing had been heard of the door yet"),
}
"""Why nothing could be recorded."""


def told(house: House, visit: model.Visit) -> str:
    """All that is said of a visit: who it was where somebody said so, what was heard, what qualifies it, and the note."""
    facts = _doubtful(visit) if visit.doubtful else _facts(visit, house.now_s)
    parts = [*_who(visit), *facts, *_uncertainty(visit), *_dated_anew(house, visit)]
    if visit.note:
        parts.append(say("noted: {begun}", begun=_begun(" ".join(visit.note.splitlines()))))
    return " ".join(words.sentence(part) for part in parts)


def _begun(note: str) -> str:
    """As much of a note as stands beside a mark, broken at a space; its visit's sheet has all of it.

    >>> _begun("left it next door"), len(_begun("left it next door " * 20))
    ('left it next door', 89)
    """
    return note if len(note) <= NOTE_BEGUN else f"{note[:NOTE_BEGUN].rpartition(' ')[0] or note[:NOTE_BEGUN]} …"


def _who(visit: model.Visit) -> list[str]:
    """
    >>> _who(model.Visit(1, "tern-cottage", "hall", "front", 0.0, 1.0, None, (), "family", "Ann"))
    ['Ann, in the cadence “family”']
    """
    if visit.cadence:
        return [
            say("{who}, in the cadence “{cadence}”", who=visit.who, cadence=visit.cadence)
            if visit.who
            else say("in the cadence “{cadence}”", cadence=visit.cadence)
        ]
    return [visit.who] if visit.who else []


def _facts(told: model.Visit, now_s: float) -> list[str]:
    presses = [press for press in told.presses if not press.doubtful] or list(told.presses)
    parts = [words.counted(len(presses), "press", "presses")]
    last = told.presses[-1]
    length_s = told.end_s - told.start_s
    if last.end_s is None and not last.cut_off and now_s - last.start_s < 60.0:
        parts[0] += say(", still held")
    elif len(presses) > 1 and length_s >= 9.5:
        parts[0] += say(" in {duration}", duration=words.duration(length_s))
    elif len(presses) == 1 and length_s >= 2.0:
        parts[0] += say(" of {duration}", duration=words.duration(length_s))
    if all(press.sure == "likely" for press in presses) and now_s - last.start_s > GROWS_S:
        parts[0] += (
            say(", likely but not sure: a single pulse")
            if len(presses) == 1
            else say(", likely but not sure: each a single pulse")
        )
    if told.sounded is not None:
        parts.append(_answer(told.sounded, len(told.presses)))
    more = len(told.presses) - len(presses)
    if more:
        parts.append(words.counted(more, "more contact is doubtful", "more contacts are doubtful"))
    drop_outs = sum(press.drop_outs for press in presses)
    if drop_outs:
        parts.append(say("The contact dropped out {times} while held", times=words.times(drop_outs)))
    if any(press.cut_off for press in presses):
        parts.append(say("The chime restarted while it was held, so its end is not known"))
    return parts


def _answer(sounded: int, presses: int) -> str:
    if sounded == 0:
        return say("the chime kept silent")
    if presses == 1:
        return say("the chime answered")
    if sounded == presses:
        return say("the chime answered both") if presses == 2 else say("the chime answered all")
    return say("the chime answered {number}", number=words.number(sounded))


def _doubtful(told: model.Visit) -> list[str]:
    contacts = words.counted(len(told.presses), "contact")
    press = told.presses[0]
    if len(told.presses) == 1 and press.end_s is not None and press.end_s > press.start_s:
        contacts += say(" of {duration}", duration=words.duration(press.end_s - press.start_s))
    pulses = {press.pulses for press in told.presses}
    again = len(told.presses) >= model.SINGLE_PULSES and pulses == {1}
    why = say("each a single pulse, as damp or induction makes them") if again else say("too short for a finger")
    parts = [f"{contacts}, {why}"]
    if told.sounded is not None:
        parts.append(_answer(told.sounded, len(told.presses)))
    return parts


def _uncertainty(told: model.Visit) -> list[str]:
    """Told when it exceeds a second."""
    widest_s = max((press.uncertainty_s for press in told.presses), default=0.0)
    return [say("the time is right to within {duration}", duration=words.duration(widest_s))] if widest_s > 1.0 else []


def _dated_anew(house: House, visit: model.Visit) -> list[str]:
    first_s = house.told_first_s(visit)
    if abs(first_s - visit.start_s) < MOVED_S:
        return []
    return [
        say(
            "told at first as {other_time}, and dated anew since",
            other_time=words.other_time(first_s, visit.start_s, house.zone),
        )
    ]


def unseen(told: model.Unseen, doors: int) -> str:
    """Why it is thought that somebody pressed. `doors`: how many the chime has."""
    wires = {
        0: say("no door has been heard yet"),
        1: say("the door’s wire made no contact"),
        2: say("neither door’s wire made contact"),
    }
    wire = wires.get(doors, say("no door’s wire made contact"))
    if told.why == ("sounded alone",):
        return say("It sounded once, yet {wire}.", wire=wire)
    if told.why == ("restarted",):
        return say(
            "It lost its supply for a moment, as a press can do where the supply is weak; nothing else tells of one."
        )
    sounded = say("It sounded and its") if "sounded alone" in told.why else say("Its")
    return say(
        "{sounded} rail rose by {value} V as a press lifts it, yet {wire}.",
        sounded=sounded,
        value=figure(told.rise_v or 0.0, ".1f"),
        wire=wire,
    )
