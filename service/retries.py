"""When a letter that was not taken is tried again, and when it is given up: the schedule of Standard Webhooks 1.0.0.

The standard names the offsets from the first try, asks for jitter, and for patience with a receiver that answers 429, 502 or 504
or names a time itself (Retry-After, RFC 9110, section 10.2.3). Knows no network and no store.
"""

from dataclasses import dataclass

OFFSETS_S = (5.0, 305.0, 2105.0, 9305.0, 27305.0, 63305.0, 113705.0, 185705.0, 272105.0)
"""After the first try: 5 s, 5 min, 30 min, 2 h, 5 h, 10 h, 14 h, 20 h, 24 h after one another (Standard Webhooks 1.0.0)."""

JITTER = 0.1
"""A step becomes longer by up to this share of itself (chosen; the standard gives no figure)."""

REFUSED_UNTIL_S = OFFSETS_S[2]
"""A letter that the receiver itself will not have, and not the network, holds up those behind it for so long (chosen) [s]."""

WAITED_UNTIL_S = OFFSETS_S[-1] + 86_400.0
"""What was written longer ago, and waited behind others, is tried once and then given up (chosen) [s]."""

LONGEST_STEP_S = 86_400.0 * (1.0 + JITTER)
"""No receiver can ask for a longer pause; a due time further ahead was written by a clock that was wrong [s]."""

PACE_S = (1.0, 60.0)
"""Pause between two letters to a receiver that is overloaded: at first and at the most (chosen) [s]."""


@dataclass(frozen=True, slots=True)
class Answer:
    """What became of one try. `told`: in a few words, for people."""

    delivered: bool
    told: str
    refused: bool = False  # it was reached, and will not have this letter
    gone: bool = False  # it wants no more letters at all
    slow: bool = False  # it is overloaded
    retry_after_s: float | None = None


def next_try_s(
    answer: Answer,
    written_s: float,
    first_s: float,
    now_s: float,
    draw: float,
    offsets_s: tuple[float, ...] = OFFSETS_S,
) -> float | None:
    """When to try again after a failure at `now_s`; None: it is given up.

    Parameters
    ----------
    written_s, first_s : when the letter was written, and when it was first tried.
    draw : of the jitter, evenly from 0 to 1.
    offsets_s : after the first try; the published ones but in tests.

    >>> [next_try_s(Answer(False, ""), 0.0, 0.0, now_s, 0.0) for now_s in (0.0, 5.0, 305.0, 272105.0)]
    [5.0, 305.0, 2105.0, None]
    """
    patience_s = REFUSED_UNTIL_S if answer.refused else offsets_s[-1]
    past_s = now_s - first_s
    offset_s = next((one for one in offsets_s if one > past_s and one <= patience_s), None)
    if offset_s is None or now_s - written_s > WAITED_UNTIL_S:
        return None
    step_s = (offset_s - past_s) * (1.0 + JITTER * draw)
    return now_s + max(step_s, min(answer.retry_after_s or 0.0, LONGEST_STEP_S))


def pace_s(before_s: float, answer: Answer) -> float:
    """The pause between letters after this answer: twice as long while the receiver is overloaded, half of it when it is not."""
    if answer.slow:
        return min(max(2.0 * before_s, PACE_S[0]), PACE_S[1])
    return before_s / 2.0 if answer.delivered and before_s >= PACE_S[0] else (0.0 if answer.delivered else before_s)
