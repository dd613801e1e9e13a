"""What is said of a visit, beside its time and door. Says what was seen, not who or why. Knows no drawing."""

from dashboard import words
from dashboard.house import House
from service import model

NOTE_BEGUN = 90
"""Characters of a note that stand beside a mark."""

GROWS_S = 10.0
"""A chime tells the first pulse of a press at once and the others later: so long nothing is made of a single one [s]."""

MOVED_S = 1.0
"""What was moved by less is not told as dated anew [s]."""

CAUSES: dict[model.BlindWhy, str] = {
    "chime without power": "{who} was without power",
    "chime restarted": "{who} restarted by itself",
    "buffer overrun": "{who} could not send, and had to throw away what it kept",
    "service down": "Bellcrank was not running",
    "store full": "the disk was full",
    "packs lost": "something {who} sent was lost on the way",
    "chime absent": "{who} had taken its leave",
    "chime silent": "{who} was silent",
    "door not fitted yet": "nothing had been heard of the door yet",
}
"""Why nothing could be recorded."""


def told(house: House, visit: model.Visit) -> str:
    """All that is said of a visit: who it was where somebody said so, what was heard, what qualifies it, and the note."""
    facts = _doubtful(visit) if visit.doubtful else _facts(visit, house.now_s)
    parts = [*_who(visit), *facts, *_uncertainty(visit), *_dated_anew(house, visit)]
    if visit.note:
        parts.append(f"noted: {_begun(' '.join(visit.note.splitlines()))}")
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
        return [f"{visit.who}, in the cadence “{visit.cadence}”" if visit.who else f"in the cadence “{visit.cadence}”"]
    return [visit.who] if visit.who else []


def _facts(told: model.Visit, now_s: float) -> list[str]:
    presses = [press for press in told.presses if not press.doubtful] or list(told.presses)
    parts = [words.counted(len(presses), "press", "presses")]
    last = told.presses[-1]
    length_s = told.end_s - told.start_s
    if last.end_s is None and not last.cut_off and now_s - last.start_s < 60.0:
        parts[0] += ", still held"
    elif len(presses) > 1 and length_s >= 9.5:
        parts[0] += f" in {words.duration(length_s)}"
    elif len(presses) == 1 and length_s >= 2.0:
        parts[0] += f" of {words.duration(length_s)}"
    if all(press.sure == "likely" for press in presses) and now_s - last.start_s > GROWS_S:
        parts[0] += f", likely but not sure: {'a' if len(presses) == 1 else 'each a'} single pulse"
    if told.sounded is not None:
        parts.append(_answer(told.sounded, len(told.presses)))
    more = len(told.presses) - len(presses)
    if more:
        parts.append(f"{words.counted(more, 'more contact')} {'is' if more == 1 else 'are'} doubtful")
    drop_outs = sum(press.drop_outs for press in presses)
    if drop_outs:
        parts.append(f"The contact dropped out {words.times(drop_outs)} while held")
    if any(press.cut_off for press in presses):
        parts.append("The chime restarted while it was held, so its end is not known")
    return parts


def _answer(sounded: int, presses: int) -> str:
    if sounded == 0:
        return "the chime kept silent"
    if presses == 1:
        return "the chime answered"
    if sounded == presses:
        return "the chime answered both" if presses == 2 else "the chime answered all"
    return f"the chime answered {words.number(sounded)}"


def _doubtful(told: model.Visit) -> list[str]:
    contacts = words.counted(len(told.presses), "contact")
    press = told.presses[0]
    if len(told.presses) == 1 and press.end_s is not None and press.end_s > press.start_s:
        contacts += f" of {words.duration(press.end_s - press.start_s)}"
    pulses = {press.pulses for press in told.presses}
    again = len(told.presses) >= model.SINGLE_PULSES and pulses == {1}
    parts = [
        f"{contacts}, {'each a single pulse, as damp or induction makes them' if again else 'too short for a finger'}"
    ]
    if told.sounded is not None:
        parts.append(_answer(told.sounded, len(told.presses)))
    return parts


def _uncertainty(told: model.Visit) -> list[str]:
    """Told when it exceeds a second."""
    widest_s = max((press.uncertainty_s for press in told.presses), default=0.0)
    return [f"the time is right to within {words.duration(widest_s)}"] if widest_s > 1.0 else []


def _dated_anew(house: House, visit: model.Visit) -> list[str]:
    first_s = house.told_first_s(visit)
    if abs(first_s - visit.start_s) < MOVED_S:
        return []
    return [f"told at first as {words.other_time(first_s, visit.start_s, house.zone)}, and dated anew since"]


def unseen(told: model.Unseen, doors: int) -> str:
    """Why it is thought that somebody pressed. `doors`: how many the chime has."""
    wires = {
        0: "no door has been heard yet",
        1: "the door’s wire made no contact",
        2: "neither door’s wire made contact",
    }
    wire = wires.get(doors, "no door’s wire made contact")
    if told.why == ("sounded alone",):
        return f"It sounded once, yet {wire}."
    if told.why == ("restarted",):
        return "It lost its supply for a moment, as a press can do where the supply is weak; nothing else tells of one."
    sounded = "It sounded and its" if "sounded alone" in told.why else "Its"
    return f"{sounded} rail rose by {told.rise_v or 0.0:.1f} V as a press lifts it, yet {wire}."
