"""Requests to a chime: what may be asked, how it is said, and how it ended. Plain values; knows no broker, store or clock."""

from dataclasses import dataclass
from typing import Any, Literal

What = Literal["bursts", "sound", "hush"]
WHATS: tuple[What, ...] = ("bursts", "sound", "hush")

AskState = Literal["waiting", "answered", "sent", "unanswered", "not sent"]
"""`sent`: the broker has it, and no answer is to be expected; `not sent`: the broker did not take it."""

ANSWER_WITHIN_S: dict[What, float] = {"bursts": 180.0, "sound": 60.0}
"""Bursts take a chime some seconds with its test load, and it may put its packs together only each minute (chosen)."""

LATE_S = 3600.0
"""An answer is still known as one until then [s]."""

LONGEST_HUSH_S = 24 * 3600.0
"""A chime that must be quiet for longer is switched off (chosen)."""


@dataclass(frozen=True, slots=True)
class Ask:
    """`by`: a person, or the schedule; `told`: how it ended, in a sentence."""

    id: int
    site: str
    chime: str
    what: What
    by: str
    why: str
    asked_s: float
    until_s: float | None = None  # of a hush
    state: AskState = "waiting"
    ended_s: float | None = None
    told: str = ""


def message(ask: Ask) -> dict[str, Any]:
    """JSON-ready, as it goes to the chime. A chime without a clock goes by `for_s`.

    >>> message(Ask(7, "tern-cottage", "hall", "hush", "Ann", "", 1000.0, until_s=4600.0))
    {'id': 'ask-7', 'do': 'hush', 'for_s': 3600.0, 'until_s': 4600.0}
    """
    told: dict[str, Any] = {"id": f"ask-{ask.id}", "do": ask.what}
    if ask.until_s is not None:
        told |= {"for_s": round(ask.until_s - ask.asked_s, 1), "until_s": ask.until_s}
    return told


def ended(ask: Ask, answered_s: float | None, now_s: float) -> tuple[AskState, float, str] | None:
    """How a request ended by now, with when and the sentence; None: nothing new. `answered_s`: when what it asked for came."""
    if ask.what not in ANSWER_WITHIN_S or ask.state not in ("waiting", "unanswered"):
        return None
    within_s = ANSWER_WITHIN_S[ask.what]
    if answered_s is not None and answered_s - ask.asked_s <= LATE_S:
        after_s = max(answered_s - ask.asked_s, 0.0)
        late = " late" if after_s > within_s else ""
        return "answered", answered_s, f"The chime answered{late}, {after_s:.0f} s after it was asked."
    if ask.state == "waiting" and now_s - ask.asked_s > within_s:
        return "unanswered", now_s, f"The chime has not answered within {within_s:.0f} s."
    return None
