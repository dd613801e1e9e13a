"""The ready set: rules for a house that has just been fitted, so that nobody need write any.

What can be derived from the fit-out sheet and the commissioning record is; where neither is there, the rules are those that need no
physics. Limits and delays name their source or are chosen. Refuses to know what has been measured since.
"""

from collections.abc import Iterable, Sequence

from service.alarms.ready_supply import supply_rules
from service.alarms.rules import BlindTime, HeldPress, ManyVisits, NoPack, OpenFinding, Priority, Rule
from service.findings.advice import ADVICE
from service.findings.verdict import Surveyed
from service.supply.fitout import FitOut

HOUR_S, DAY_S = 3600.0, 86_400.0

POWER_OUT = "power-out"

SILENT_AFTER_S = 26 * HOUR_S
"""A chime that was commissioned is asked for its supply once a day, and one that sends windows of its rail does so every minute; two
hours of grace (chosen)."""

SILENT_ANYHOW_S = 7 * DAY_S
"""One that sends nothing but presses is silent while nobody rings (chosen)."""

HIGH = frozenset(("contact-stuck", "detector-dead", "wrong-transformer"))
MEDIUM = frozenset(
    ("button-diode-open", "button-diode-reversed", "button-diode-shorted", "regulator-drops-out", "mains-low")
)
"""The chime is deaf, sounds without end or takes harm; it works, but not for long or not always. The rest can wait (chosen)."""

SURE = 0.7
"""A finding's likelihood from which people are called, once a second examination has confirmed it (chosen)."""


def ready_rules(
    doors: Sequence[str], sheet: FitOut | None = None, commissioned: Surveyed | None = None, windows: bool = False
) -> list[Rule]:
    """The rules for one chime, suppressors first.

    Parameters
    ----------
    doors : names of its doors, as in the contract.
    sheet : None: there is none; so are single figures that it leaves out.
    commissioned : what the survey of the commissioning record measured, if there is one.
    windows : it sends windows of its rail.
    """
    regular = windows or commissioned is not None
    rules = [*_listening(SILENT_AFTER_S if regular else SILENT_ANYHOW_S), *(_finding(name) for name in ADVICE)]
    for door in doors:
        rules += _at_door(door)
    return [*rules, *supply_rules(sheet or FitOut(), commissioned, POWER_OUT)]


def finding_rule(name: str) -> str:
    """Id of the ready rule for a finding."""
    return f"finding-{name}"


def _listening(silent_after_s: float) -> Iterable[Rule]:
    """Of a chime that is not heard one rule speaks: a silence is blind time only until it is a silence, and blind time is told
    only when it can no longer be the beginning of one."""
    yield Rule(
        POWER_OUT,
        # a while within the last hour, so that the supply may settle before anything is said of it
        BlindTime(within_s=HOUR_S, longer_than_s=60.0, why="chime without power"),
        cause="The chime was without power.",
        consequence="Nobody who rang meanwhile was heard, and the supply needs some minutes to settle.",
        action="If the mains was on, look at the transformer's circuit breaker and at the wiring.",
    )
    yield Rule(
        "chime-silent",
        NoPack(silent_after_s),
        cause="Nothing has been heard from the chime.",
        consequence="It may not be ringing; presses are not recorded, or will be only later.",
        action="Ring the bell. If it sounds, look at the wireless network; if not, at the supply.",
        priority=Priority.MEDIUM,
        realarm_s=7 * DAY_S,
        suppressed_by=(POWER_OUT,),
    )
    yield Rule(
        "often-blind",
        BlindTime(within_s=7 * DAY_S, share=0.05, up_to_s=silent_after_s),
        cause="For more than a twentieth of the week no press could have been recorded.",
        consequence="The record of callers has holes.",
        action="Look at the hours on the page of visits: always at night points to a timer, scattered ones to the network.",
        on_delay_s=silent_after_s,
        off_delay_s=DAY_S,
        suppressed_by=("chime-silent",),
    )


def _finding(name: str) -> Rule:
    advice = ADVICE[name]
    return Rule(
        finding_rule(name),
        OpenFinding((name,), SURE),
        cause=advice.title,
        consequence=advice.meaning,
        action=advice.checks[0].text,
        priority=Priority.HIGH if name in HIGH else Priority.MEDIUM if name in MEDIUM else Priority.LOW,
        realarm_s=7 * DAY_S if name in HIGH else None,
    )


def _at_door(door: str) -> Iterable[Rule]:
    yield Rule(
        f"held-{door}",
        HeldPress(longer_than_s=120.0, door=door),
        cause=f"The button {door} has been held for two minutes.",
        consequence="The chime may sound all the while, and nobody else at the door is heard.",
        action="See whether somebody or something leans on it, and whether it springs back.",
        priority=Priority.MEDIUM,
        off_delay_s=6 * HOUR_S,  # a button that sticks does so again
        suppressed_by=(POWER_OUT, finding_rule("contact-stuck")),
    )
    yield Rule(
        f"many-visits-{door}",
        ManyVisits(more_than=10, within_s=600.0, door=door),
        cause=f"More than ten visits within ten minutes at {door}.",
        consequence="Somebody may be playing with the bell, or the button gives way by itself.",
        action="See who is there. If nobody is, look at the findings for that button.",
        off_delay_s=600.0,
        suppressed_by=(finding_rule("contact-stuck"),),
    )
