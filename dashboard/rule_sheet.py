"""The sheet of one rule: what it watches, its values as blanks, and what they would have said on the past. Knows no HTTP.

A blank shows a value in the unit in which it reads best; the blank's name carries the value back into seconds and shares.
"""

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from dashboard import words
from dashboard.alarm_contexts import RuleBlank, RuleSheet, Said
from dashboard.alarms_sheet import WEIGHTS, bar, moment
from dashboard.doorstep import head
from dashboard.house import House
from dashboard.lanes import at_the, door_name
from dashboard.language import figure, marked, resaid, say
from service.alarm_ports import KeptRule
from service.alarms.quantities import QUANTITIES
from service.alarms.rule_form import write_rule
from service.alarms.rules import Priority, Rule, RuleRefused
from service.alarms.trial import Trial
from service.findings.advice import ADVICE

DAY_S = 86_400.0
DAYS = 30
LISTED = 20

UNITS = ((DAY_S, marked("days")), (3600.0, "h"), (60.0, "min"), (1.0, "s"))

SCALES = {"Cel": (1.0, "°C"), "Ohm": (1.0, "Ω"), "F": (1e-6, "µF"), "A": (1e-3, "mA")}
"""How limits are written, by the unit they are kept in."""

LABELS = {
    "watch.limit": marked("Limit"),
    "watch.worse": marked("More severe beyond"),
    "watch.per_day": marked("Change in a day"),
    "watch.span_s": marked("Judged over"),
    "watch.likelihood": marked("Likelihood at least"),
    "watch.longer_than_s": marked("Longer than"),
    "watch.more_than": marked("More visits than"),
    "watch.within_s": marked("Within"),
    "watch.share": marked("More of that time than"),
    "watch.begins": marked("Quiet from"),
    "watch.ends": marked("Quiet until"),
    "on_delay_s": marked("On-delay"),
    "off_delay_s": marked("Off-delay"),
    "deadband": marked("Deadband"),
    "realarm_s": marked("Called again after"),
}
"""Fields of a rule that are numbers or times of day, in the order of the sheet."""

SHARES = ("watch.share", "watch.likelihood")


def make(house: House, chime: str, kept: KeptRule, values: Mapping[str, Any], said: Said, trial: Trial | None,
         refused: RuleRefused | None) -> RuleSheet:  # fmt: skip
    """`values`: the rule as JSON, as it is kept or as somebody has just filled it in."""
    reasons = {problem.field: resaid(problem.reason) for problem in refused.problems} if refused else {}
    blanks = _blanks(kept.rule, values, reasons)
    loose = [reason for field, reason in reasons.items() if field not in {blank.field for blank in blanks}]
    spoken = trial.spoken[-LISTED:] if trial else ()
    changed = kept.ready is not None and write_rule(kept.rule) != write_rule(kept.ready)
    return RuleSheet(
        head=head(house, say("Rule"), "rule"),
        chime=chime,
        rule=kept.rule.id,
        headline=resaid(kept.rule.cause),
        lead=_watched(house, chime, kept.rule),
        standing=_standing(kept, changed),
        consequence=resaid(kept.rule.consequence),
        action=resaid(kept.rule.action),
        blanks=blanks,
        weights=[(one.value, say(WEIGHTS[one]), one.value == values["priority"]) for one in Priority],
        changed=changed,
        said=Said(" ".join(loose) or say("One of the values cannot be used."), True) if refused else said,
        trial="" if trial is None else _tried(trial),
        spoken=[(moment(house, one.at_s), words.sentence(resaid(one.why)) if one.why else "", bar(house, one)) for one in reversed(spoken)],
    )  # fmt: skip


def filled_in(rule: Rule, form: Mapping[str, str]) -> dict[str, Any]:
    """The rule as JSON, with what stands in the blanks; what is no number stays as it was written, and is refused later."""
    values = write_rule(rule)
    values["priority"] = form.get("priority", values["priority"])
    for key, text in form.items():
        field, _, factor = key.partition("*")
        if field not in LABELS:
            continue
        held = values["watch"] if field.startswith("watch.") else values
        held[field.removeprefix("watch.")] = _value(field, text.strip(), factor)
    return values


def _value(field: str, text: str, factor: str) -> Any:
    if not text:
        return None
    if field in ("watch.begins", "watch.ends"):
        return text
    if factor not in {_factor(one) for one, _ in (*UNITS, *SCALES.values())} | {"0.01"}:
        factor = "1"
    try:
        value = float(text.replace(",", ".").replace("−", "-")) * float(factor)
    except ValueError:
        return text
    return int(value) if field == "watch.more_than" and value.is_integer() else round(value, 9)


def _blanks(rule: Rule, values: Mapping[str, Any], reasons: Mapping[str, str]) -> list[RuleBlank]:
    kept = write_rule(rule)
    found = []
    for field, label in LABELS.items():
        name = field.removeprefix("watch.")
        now, before = (one["watch"] if field.startswith("watch.") else one for one in (values, kept))
        if name not in before or (field == "deadband" and not {"limit", "per_day"} & kept["watch"].keys()):
            continue
        if name in ("longer_than_s", "share") and before[name] is None:
            continue  # the other of the two is given
        factor, unit = _unit(rule, field, before[name])
        value = now.get(name)
        shown = figure(value / factor, "g") if isinstance(value, int | float) else value or ""
        key = field if factor == 1.0 else f"{field}*{_factor(factor)}"
        kind = "time" if name in ("begins", "ends") else "decimal"
        found.append(RuleBlank(field, key, say(label), shown, unit, kind, reasons.get(field, "")))
    return found


def _unit(rule: Rule, field: str, value: Any) -> tuple[float, str]:
    """By how much a value is divided to be shown, and its unit."""
    if field in SHARES:
        return 0.01, "%"
    if field.endswith("_s"):
        factor, unit = next((one for one in UNITS if value and value % one[0] == 0.0), UNITS[2])
        return factor, say(unit)
    quantity = QUANTITIES.get(getattr(rule.watch, "name", ""))
    if quantity is None or field == "watch.more_than":
        return 1.0, ""
    factor, unit = SCALES.get(quantity.unit, (1.0, quantity.unit))
    return factor, say("{unit} a day", unit=unit) if hasattr(rule.watch, "per_day") else unit


def _factor(factor: float) -> str:
    return f"{factor:g}"


def _watched(house: House, chime: str, rule: Rule) -> str:
    watch = asdict(rule.watch)
    if "names" in watch:
        names = [f"“{resaid(ADVICE[name].title)}”" for name in watch["names"]] or [say("any finding")]
        said = say("Watched: {listed}", listed=words.listed(names))
    elif "name" in watch:
        said = say(
            "Watched: {meaning}, {side} the limit",
            meaning=resaid(QUANTITIES[watch["name"]].meaning),
            side=say("above") if watch["side"] == "above" else say("below"),
        )
    else:
        said = {
            "HeldPress": say("Watched: how long a button is held"),
            "ManyVisits": say("Watched: how many visits begin within a time"),
            "QuietPress": say("Watched: presses in quiet hours"),
            "NoPack": say("Watched: how long nothing has been heard from the chime"),
            "BlindTime": say("Watched: time in which no press could have been recorded"),
        }[type(rule.watch).__name__]
    if watch.get("door"):
        door = next((door_name(d) for d in house.doors if (d.chime, d.door) == (chime, watch["door"])), watch["door"])
        said += say(", at {at_the}", at_the=at_the(door))
    return words.sentence(said)


def _standing(kept: KeptRule, changed: bool) -> str:
    parts = [say("Of the ready set") if kept.ready is not None else say("Somebody’s own")]
    if changed:
        parts.append(
            say("changed by {changed_by}", changed_by=words.person(kept.changed_by))
            if kept.changed_by
            else say("changed")
        )
    off = say(" Off: {off}", off=words.sentence(resaid(kept.off))) if kept.off else ""
    return f"{words.sentence(', '.join(parts))}{off}"


def _tried(trial: Trial) -> str:
    days = (trial.to_s - trial.from_s) / DAY_S
    known = trial.known_s / DAY_S
    often = (
        say("have called {times}", times=words.times(len(trial.spoken)))
        if trial.spoken
        else say("not have called anybody")
    )
    held = say("In the last {days} days it would {often}.", days=figure(days, ".0f"), often=often)
    if known < days - 0.5:
        held = say(
            "The record holds {known} of the last {days} days; in them it would {often}.",
            known=figure(known, ".3g"),
            days=figure(days, ".0f"),
            often=often,
        )
    if not trial.withheld:
        return held
    more = words.counted(
        trial.withheld,
        "more call would be suppressed by other rules",
        "more calls would be suppressed by other rules",
    )
    return f"{held} {words.sentence(more)}"
