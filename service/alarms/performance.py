"""How well the alarms do their work: rate, floods, chattering, fleeting and stale ones, priorities, the worst rule.

Computed from recorded annunciations over a stretch of time, beside the published figures. Under 30 days the figures are given and
no verdict on them. Knows no store, no clock and no remedy; that is `proposal.py`.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from service.alarms.figures import (
    ACCEPTABLE_PER_HOUR,
    AT_LEAST_S,
    CHATTERING,
    CHATTERING_WITHIN_S,
    DAY_S,
    FEWEST_FOR_MIX,
    FLEETING_S,
    FLOOD_ABOVE,
    FLOOD_ENDS_BELOW,
    FLOOD_SHARE,
    FLOOD_WINDOW_S,
    HOUR_S,
    MIX_HIGH,
    MIX_MEDIUM,
    MIX_SLACK,
    MOST_PER_HOUR,
    MOST_STALE,
    RULES_FOR_TOP,
    STALE_S,
    TOP,
    TOP_ACCEPTABLE,
    TOP_MOST,
    Figure,
    figure,
)
from service.alarms.life import Event
from service.alarms.rules import Priority, QuietPress, Rule
from service.alarms.stretches import joined, too_many
from service.alarms.trial import Spoken


class Flood(NamedTuple):
    """From the annunciation that made it one to the moment when it had ebbed; `alarms` within it and in the ten minutes before."""

    start_s: float
    end_s: float
    alarms: int


class Share(NamedTuple):
    rule: str
    times: int
    share: float  # of all annunciations


class Worst(NamedTuple):
    """The rule to be mended first, and why in a sentence."""

    rule: str
    why: str


@dataclass(frozen=True, slots=True)
class Performance:
    """Of all alarms of a house, or of one chime, from `from_s` to `to_s`.

    `chattering`: episodes by rule; `fleeting`: how many by rule; `stale`: rules that are active at the end for more than a day;
    `top`: the ten most frequent.
    """

    from_s: float
    to_s: float
    annunciated: int
    per_day: float
    figures: tuple[Figure, ...]
    floods: tuple[Flood, ...]
    chattering: dict[str, int]
    fleeting: dict[str, int]
    stale: tuple[str, ...]
    mix: dict[Priority, float]
    top: tuple[Share, ...]
    worst: Worst | None

    @property
    def is_enough(self) -> bool:
        return self.to_s - self.from_s >= AT_LEAST_S


def performance(spoken: Sequence[Spoken], rules: Sequence[Rule], from_s: float, to_s: float) -> Performance:
    """Parameters
    ----------
    spoken : annunciations in order of time, as `trial.spoken_in` gives them; those outside the stretch are passed over.
    rules : as they are; annunciations of rules that are no more count, without a priority.
    """
    spoken = [one for one in spoken if from_s <= one.at_s <= to_s]
    times_s = [one.at_s for one in spoken]
    length_s = max(to_s - from_s, 1.0)
    floods = _floods(times_s, to_s)
    counts = Counter(one.rule for one in spoken)
    top = tuple(Share(rule, count, count / len(spoken)) for rule, count in counts.most_common(TOP))
    chattering = {rule: episodes for rule in counts if (episodes := _chattering(spoken, rule))}
    fleeting = _fleeting(spoken, rules)
    stale = _stale(spoken, to_s)
    mix = _mix(spoken, rules)
    enough = to_s - from_s >= AT_LEAST_S
    for_mix = enough and len(spoken) >= FEWEST_FOR_MIX
    urgent = mix[Priority.HIGH] + mix[Priority.CRITICAL]
    figures = (
        figure("rate", len(spoken) / length_s * HOUR_S, "1/h", ACCEPTABLE_PER_HOUR, MOST_PER_HOUR, enough),
        figure("most in ten minutes", _most_within(times_s), "", FLOOD_ABOVE, enough=enough),
        figure("ten minutes with more than ten", _crowded(times_s, from_s, length_s), "/", FLOOD_SHARE, enough=enough),
        figure(
            "time in flood", sum(one.end_s - one.start_s for one in floods) / length_s, "/", FLOOD_SHARE, enough=enough
        ),
        figure("chattering rules", len(chattering), "", 0.0, enough=enough),
        figure("fleeting alarms", sum(fleeting.values()), "", 0.0, enough=enough),
        figure("stale alarms", len(stale), "", MOST_STALE, enough=enough),
        figure("share of medium priority", mix[Priority.MEDIUM], "/", MIX_MEDIUM, MIX_SLACK * MIX_MEDIUM, for_mix),
        figure("share of high and critical priority", urgent, "/", MIX_HIGH, MIX_SLACK * MIX_HIGH, for_mix),
        figure(
            "share of the ten most frequent rules",
            sum(one.share for one in top),
            "/",
            TOP_ACCEPTABLE,
            TOP_MOST,
            enough and len(rules) >= RULES_FOR_TOP,
        ),
    )
    return Performance(
        from_s,
        to_s,
        len(spoken),
        len(spoken) / length_s * DAY_S,
        figures,
        tuple(floods),
        chattering,
        fleeting,
        stale,
        mix,
        top,
        _worst(top, chattering, fleeting),
    )


def _floods(times_s: Sequence[float], to_s: float) -> list[Flood]:
    """With a sliding window, so that none escapes between two periods of a fixed grid."""
    result: list[Flood] = []
    begun: int | None = None
    for index, at_s in enumerate(times_s):
        first = index - FLOOD_ABOVE
        if begun is None and first >= 0 and at_s - times_s[first] < FLOOD_WINDOW_S:
            begun = index
        if begun is None:
            continue
        # after this one it ebbs when the fifth latest leaves the window, unless another comes before
        ebbs_s = times_s[index - FLOOD_ENDS_BELOW + 1] + FLOOD_WINDOW_S
        if index + 1 == len(times_s) or times_s[index + 1] >= ebbs_s:
            result.append(Flood(times_s[begun], min(ebbs_s, to_s), index - begun + 1 + FLOOD_ABOVE))
            begun = None
    return result


def _most_within(times_s: Sequence[float]) -> int:
    most, first = 0, 0
    for index, at_s in enumerate(times_s):
        while at_s - times_s[first] >= FLOOD_WINDOW_S:
            first += 1
        most = max(most, index - first + 1)
    return most


def _crowded(times_s: Sequence[float], from_s: float, length_s: float) -> float:
    periods = Counter(int((at_s - from_s) // FLOOD_WINDOW_S) for at_s in times_s)
    return sum(count > FLOOD_ABOVE for count in periods.values()) / max(length_s / FLOOD_WINDOW_S, 1.0)


def _chattering(spoken: Sequence[Spoken], rule: str) -> int:
    """Episodes. Only what came counts, not that it was told again."""
    came_s = [one.at_s for one in spoken if one.rule == rule and one.event is Event.COMES]
    return len(joined(too_many(came_s, CHATTERING - 1, CHATTERING_WITHIN_S)))


def _fleeting(spoken: Sequence[Spoken], rules: Sequence[Rule]) -> dict[str, int]:
    """A press at night is over at once; that is what it is, and no fault of the rule."""
    momentary = {rule.id for rule in rules if isinstance(rule.watch, QuietPress)}
    return dict(
        Counter(
            one.rule
            for one in spoken
            if one.event is Event.COMES
            and one.rule not in momentary
            and one.gone_s is not None
            and one.gone_s - one.at_s < FLEETING_S
        )
    )


def _stale(spoken: Sequence[Spoken], to_s: float) -> tuple[str, ...]:
    """Counted from when it came; being told again makes nothing younger."""
    came_s: dict[str, float] = {}
    for one in spoken:
        if one.gone_s is None or one.gone_s > to_s:
            came_s.setdefault(one.rule, one.at_s)
    return tuple(rule for rule, at_s in came_s.items() if to_s - at_s > STALE_S)


def _mix(spoken: Sequence[Spoken], rules: Sequence[Rule]) -> dict[Priority, float]:
    priorities = {rule.id: rule.priority for rule in rules}
    known = Counter(priorities[one.rule] for one in spoken if one.rule in priorities)
    return {priority: known[priority] / max(known.total(), 1) for priority in Priority}


def _worst(top: Sequence[Share], chattering: dict[str, int], fleeting: dict[str, int]) -> Worst | None:
    if not top:
        return None
    worst = max(top, key=lambda one: (chattering.get(one.rule, 0), fleeting.get(one.rule, 0), one.times))
    why = f"It has spoken {worst.times} time{'s' if worst.times > 1 else ''}, {worst.share:.0%} of all."
    if episodes := chattering.get(worst.rule, 0):
        why += f" It chattered in {episodes} episode{'s' if episodes > 1 else ''}."
    if brief := fleeting.get(worst.rule, 0):
        why += f" {brief} of them {'was' if brief == 1 else 'were'} gone within a minute."
    return Worst(worst.rule, why)
