"""What is said of a visit, beside its time and door. Says what was seen, not who or why. Knows no drawing."""

from dashboard import words
from service import model


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


def visit(told: model.Visit, now_s: float) -> str:
    presses = [press for press in told.presses if not press.doubtful] or list(told.presses)
    parts = [words.counted(len(presses), "press", "presses")]
    last = told.presses[-1]
    length_s = told.end_s - told.start_s
    if last.end_s is None and now_s - last.start_s < 60.0:
        parts[0] += ", still held"
    elif len(presses) > 1 and length_s >= 9.5:
        parts[0] += f" in {words.duration(length_s)}"
    elif len(presses) == 1 and length_s >= 2.0:
        parts[0] += f" of {words.duration(length_s)}"
    if told.sounded is not None:
        parts.append(_answer(told.sounded, len(told.presses)))
    more = len(told.presses) - len(presses)
    if more:
        parts.append(f"{words.counted(more, 'more contact')} {'is' if more == 1 else 'are'} doubtful")
    drop_outs = sum(press.drop_outs for press in presses)
    if drop_outs:
        parts.append(f"The contact dropped out {words.times(drop_outs)} while held")
    return " ".join(words.sentence(part) for part in (*parts, *_uncertainty(told)))


def _answer(sounded: int, presses: int) -> str:
    if sounded == 0:
        return "the chime kept silent"
    if presses == 1:
        return "the chime answered"
    if sounded == presses:
        return "the chime answered both" if presses == 2 else "the chime answered all"
    return f"the chime answered {words.number(sounded)}"


def doubtful(told: model.Visit) -> str:
    contacts = words.counted(len(told.presses), "contact")
    press = told.presses[0]
    if len(told.presses) == 1 and press.end_s is not None and press.end_s > press.start_s:
        contacts += f" of {words.duration(press.end_s - press.start_s)}"
    parts = [f"{contacts}, too short for a finger"]
    if told.sounded is not None:
        parts.append(_answer(told.sounded, len(told.presses)))
    return " ".join(words.sentence(part) for part in (*parts, *_uncertainty(told)))


def _uncertainty(told: model.Visit) -> list[str]:
    """Told when it exceeds a second."""
    widest_s = max((press.uncertainty_s for press in told.presses), default=0.0)
    return [f"the time is right to within {words.duration(widest_s)}"] if widest_s > 1.0 else []


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
