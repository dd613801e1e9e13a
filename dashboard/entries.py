"""What is said of a visit, beside its time and door. Says what was seen, not who or why. Knows no drawing."""

from dashboard import words
from service import model


def is_doubtful(visit: model.Visit) -> bool:
    """Nothing in it but doubtful presses: told as such, and not counted as a visit."""
    return bool(visit.presses) and all(press.doubtful for press in visit.presses)


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
