"""The part of the ready set that rests on the fit-out sheet and the commissioning record: limits of the supply.

What a finding says better is suppressed while that finding's alarm is active. Refuses to know what has been measured since.
"""

from collections.abc import Iterable

from service.alarms.rules import Priority, QuantityBeyond, Rule, Trend
from service.findings.outlook import NAMES, Limit, limits_of
from service.findings.verdict import Surveyed
from service.supply.fitout import FitOut

HOUR_S, DAY_S = 3600.0, 86_400.0

HYSTERESIS = 0.02
"""Deadband as a share of the limit: the usual hysteresis of voltage events (EN 50160 note, from a secondary page)."""

READING_SHARE = 0.03
"""The same for what a survey identifies, whose readings scatter more (chosen: twice what `quantities.BESIDE` leaves of them)."""

TWO_SURVEYS_S = 36 * HOUR_S
"""Surveys come daily: two running must say so."""

A_WEEK_WELL_S = 7 * DAY_S
"""What ages crosses its limit many times, with the scatter of readings and rings: it is over when a week has been well (chosen)."""

REGULATED_SHARE = 0.9
"""Of its own voltage, below which a regulated rail is too low; logic is rated for 5 or 10 % (common practice, no source)."""

FALL_PER_DAY = 0.002
"""Share of its capacity that a reservoir may lose a day: some 6 % a month, when a sound one loses as much in years (chosen)."""

BETTER_SAID = {
    "reservoir_f": ("finding-reservoir-aged",),
    "source_ohm": ("finding-source-resistance-high",),
    "open_circuit_v": ("finding-mains-low", "finding-wrong-transformer"),
    "idle_a": ("finding-load-high",),
    "sound_a": ("finding-load-high",),
    "headroom_v": ("finding-regulator-drops-out",),
}
"""Which findings say more than the limit of a quantity."""

WORDS = {
    "reservoir_f": (
        "The reservoir holds less than it should",
        "The rail sags more while the chime sounds.",
        "Plan to renew the reservoir capacitor; look at the outlook for when.",
    ),
    "source_ohm": (
        "Transformer and wires have more resistance than they should",
        "The rail falls as soon as the chime draws current.",
        "Look at the screws and joints between transformer and chime.",
    ),
    "open_circuit_v": (
        "The voltage of the transformer is not what it should be",
        "The chime has too little to spare, or takes harm from too much.",
        "Ask whether the transformer was changed, and what the mains voltage is.",
    ),
    "idle_a": (
        "The chime draws more at rest than it should",
        "The supply has less to spare.",
        "Ask what was added to the chime.",
    ),
    "sound_a": (
        "The chime draws more while sounding than it should",
        "The rail sags more, and the sound may break off.",
        "Turn the volume down, and look at the sounder.",
    ),
}
"""Cause, consequence, action."""


def supply_rules(sheet: FitOut, commissioned: Surveyed | None, power_out: str) -> list[Rule]:
    """`power_out`: id of the rule that suppresses what reads low only because the mains is out.

    What surveys and rings tell is left out of that: they are made with power, and an alarm that comes back from suppression calls
    people again.
    """
    then = commissioned.quantities if commissioned is not None else {}
    rules = [*_rail(sheet, power_out), *_headroom(then["headroom_v"].value if "headroom_v" in then else None, sheet)]
    for name in WORDS:
        limits = limits_of(name, then[name].value if name in then else None, sheet, None) if name in NAMES else ()
        rules += [_of_limit(name, limit) for limit in limits]
    if "reservoir_f" in then:
        rules.append(_falling(then["reservoir_f"].value))  # limits_of has given its lower limit before
    return rules


def _rail(sheet: FitOut, power_out: str) -> Iterable[Rule]:
    if sheet.dropout_v is not None:
        volts, deadband = sheet.dropout_v, HYSTERESIS * sheet.dropout_v
        yield Rule(
            "rail-low-sounding",
            QuantityBeyond("rail_low_v", "below", volts),
            cause=f"While sounding, the rail fell below the {volts:g} V at which the regulator drops out.",
            consequence="The chime may crackle, break off or start anew.",
            action="Turn the volume down, and look at the outlook of reservoir and source resistance.",
            priority=Priority.MEDIUM,
            off_delay_s=A_WEEK_WELL_S,
            deadband=deadband,
            suppressed_by=("finding-regulator-drops-out",),
        )
        yield Rule(
            "rail-low",
            QuantityBeyond("rail_mean_v", "below", volts),
            cause=f"The rail lies below the {volts:g} V at which the regulator drops out, even at rest.",
            consequence="The chime is about to stop.",
            action="See whether the transformer is warm and its circuit on; then look at the wiring to the chime.",
            priority=Priority.HIGH,
            on_delay_s=1800.0,  # longer than a window of the rail: the last one before an outage is low, and no news
            off_delay_s=HOUR_S,
            deadband=deadband,
            realarm_s=DAY_S,
            suppressed_by=(power_out,),
        )
    if sheet.reservoir_rated_v is not None:
        yield Rule(
            "rail-high",
            QuantityBeyond("rail_max_v", "above", sheet.reservoir_rated_v),
            cause=f"The rail has risen above the {sheet.reservoir_rated_v:g} V for which the reservoir is rated.",
            consequence="The reservoir capacitor ages fast and may burst.",
            action="Have the voltage of the transformer measured before the chime is used on.",
            priority=Priority.HIGH,
            off_delay_s=HOUR_S,
            deadband=HYSTERESIS * sheet.reservoir_rated_v,
            realarm_s=DAY_S,
        )
    if sheet.regulator_v is not None:
        volts = REGULATED_SHARE * sheet.regulator_v
        above = ("rail-low-sounding",) if sheet.dropout_v is not None else ()  # says why
        yield Rule(
            "regulated-low",
            QuantityBeyond("regulated_min_v", "below", volts),
            cause=f"The regulated voltage fell below {volts:.3g} V, nine tenths of what it should be.",
            consequence="The chime may start anew or forget a press.",
            action="Look at the lowest rail while sounding; if that is well, at the regulator.",
            priority=Priority.MEDIUM,
            off_delay_s=A_WEEK_WELL_S,
            deadband=HYSTERESIS * sheet.regulator_v,
            suppressed_by=("finding-regulator-drops-out", *above),
        )


def _headroom(then_v: float | None, sheet: FitOut) -> Iterable[Rule]:
    """Half of what there was at commissioning; without that a twentieth of the drop-out voltage (chosen)."""
    if sheet.dropout_v is None:
        return
    least_v = 0.05 * sheet.dropout_v if then_v is None or then_v <= 0.0 else 0.5 * then_v
    yield Rule(
        "headroom-small",
        QuantityBeyond("headroom_v", "below", least_v, worse=0.0),
        cause=f"While sounding, the rail stays less than {least_v:.3g} V above drop-out of the regulator.",
        consequence="Cold, low mains or a louder sound will make it drop out.",
        action="Look at the outlook: which of reservoir, resistance and load has changed says what to do.",
        on_delay_s=TWO_SURVEYS_S,
        off_delay_s=A_WEEK_WELL_S,
        deadband=HYSTERESIS * sheet.dropout_v,
        suppressed_by=BETTER_SAID["headroom_v"],
    )


def _of_limit(name: str, limit: Limit) -> Rule:
    cause, consequence, action = WORDS[name]
    side = "low" if limit.low else "high"
    return Rule(
        f"{name.replace('_', '-')}-{side}",
        QuantityBeyond(name, "below" if limit.low else "above", limit.value),
        cause=f"{cause}: {limit.reason}.",
        consequence=consequence,
        action=action,
        on_delay_s=TWO_SURVEYS_S,
        off_delay_s=A_WEEK_WELL_S,
        deadband=READING_SHARE * limit.value,
        suppressed_by=BETTER_SAID[name],
    )


def _falling(then_f: float) -> Rule:
    return Rule(
        "reservoir-f-falling",
        Trend("reservoir_f", "below", -FALL_PER_DAY * then_f, 30 * DAY_S),
        cause="The reservoir has been losing capacity fast for a month.",
        consequence="It will not last as long as such parts do.",
        action="Feel whether it gets warm, and look at the ripple; plan to renew it.",
        on_delay_s=TWO_SURVEYS_S,
        off_delay_s=A_WEEK_WELL_S,
        deadband=0.25 * FALL_PER_DAY * then_f,
        suppressed_by=("reservoir-f-low", *BETTER_SAID["reservoir_f"]),
    )
