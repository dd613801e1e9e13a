"""Rules on the regulator: head-room, heat, what it stands, and what an adjustable one makes of its two resistors."""

from collections.abc import Iterator

from service.supply.assumptions import Basis
from service.supply.envelope import Condition, Envelope
from service.supply.fitout import FitOut
from service.supply.remark import PRACTICE, Remark, Severity, quantity

ADJUSTABLE_SOURCE = "data sheets of the LM317, from a secondary page"
REFERENCE_V = (1.20, 1.25, 1.30)
ADJUST_A = (0.0, 50e-6, 100e-6)
"""Least, typical, most. 50 µA makes the 3.85 V that the data sheets give for 1 kOhm and 2 kOhm."""

MINIMUM_LOAD_TYPICAL_A, MINIMUM_LOAD_A = 3.5e-3, 10e-3
ADJUSTABLE_STANDS_V = 40.0
FIXED_STANDS_V = 35.0
"""Input of fixed three-terminal regulators for 5 to 18 V (from memory)."""

BARE_K_PER_W = 60.0
"""A TO-220 case without a heat sink (typical of data sheets, from memory)."""

AMBIENT_C, JUNCTION_C = 40.0, 125.0


def adjustable_output_v(r1_ohm: float, r2_ohm: float) -> tuple[float, float, float]:
    """Least, typical and most output of an adjustable regulator [V]: V = Vref (1 + R2 / R1) + Iadj R2.

    By hand: 1 kOhm and 2 kOhm: 3 x 1.25 V + 50 µA x 2 kOhm = 3.85 V.

    >>> [round(volts, 2) for volts in adjustable_output_v(1000.0, 2000.0)]
    [3.6, 3.85, 4.1]
    """
    least, typical, most = (
        reference * (1.0 + r2_ohm / r1_ohm) + adjust * r2_ohm
        for reference, adjust in zip(REFERENCE_V, ADJUST_A, strict=True)
    )
    return least, typical, most


def adjustable(sheet: FitOut) -> Iterator[Remark]:
    """The divider must give the voltage that the sheet names, and draw the regulator's minimum load."""
    r1, r2 = sheet.regulator_r1_ohm, sheet.regulator_r2_ohm
    if r1 is None or r2 is None:
        return
    least, typical, most = adjustable_output_v(r1, r2)
    values = {"output_least_v": least, "output_typical_v": typical, "output_most_v": most}
    rule = "V = Vref (1 + R2 / R1) + Iadj R2, Vref 1.20 to 1.30 V, Iadj up to 100 µA"
    between = f"{quantity(least, 'V')} to {quantity(most, 'V')}"
    gives = f"{quantity(r1, 'Ohm')} and {quantity(r2, 'Ohm')} make {quantity(typical, 'V')}, {between}"
    if sheet.regulator_v is not None and not least <= sheet.regulator_v <= most:
        text = f"The regulator's resistors do not give {quantity(sheet.regulator_v, 'V')}: {gives}."
        yield Remark("regulator_v", "wrong", text, rule, ADJUSTABLE_SOURCE, values | {"regulator_v": sheet.regulator_v})
    else:
        yield Remark(
            "regulator_r2_ohm", "note", f"The regulator's resistors of {gives}.", rule, ADJUSTABLE_SOURCE, values
        )
    divider = typical / (r1 + r2)
    total = divider + (sheet.idle_a or 0.0)
    if total < MINIMUM_LOAD_A:
        sure = total < MINIMUM_LOAD_TYPICAL_A
        beside = f" and {quantity(sheet.idle_a, 'A')} of the chime" if sheet.idle_a else ""
        text = (
            f"The regulator's divider draws {quantity(divider, 'A')}{beside}, below its minimum load of "
            f"{quantity(MINIMUM_LOAD_TYPICAL_A, 'A')} (typical) to {quantity(MINIMUM_LOAD_A, 'A')}: with nothing else connected its output "
            f"may rise above {quantity(most, 'V')}."
        )
        yield Remark(
            "regulator_r1_ohm",
            "doubtful" if sure else "note",
            text,
            "an adjustable regulator needs a minimum load to hold its voltage",
            ADJUSTABLE_SOURCE,
            {
                "divider_a": divider,
                "load_a": total,
                "minimum_typical_a": MINIMUM_LOAD_TYPICAL_A,
                "minimum_a": MINIMUM_LOAD_A,
            },
        )


def head_room(sheet: FitOut, basis: Basis, envelope: Envelope) -> Iterator[Remark]:
    """The lowest rail of each state stays above drop-out, at low mains and with any transformer."""
    if basis.dropout_v is None:
        return
    rule = "the lowest rail of a cycle stays above the voltage at which the regulator drops out, at mains 10 % low"
    for state in envelope.states():
        at_low, at_nominal = _worst(envelope.at(state, "low")), _worst(envelope.at(state, "nominal"))
        if at_low.headroom_v is None or at_nominal.headroom_v is None:
            continue
        low, nominal = at_low.headroom_v, at_nominal.headroom_v
        values = {
            "headroom_nominal_v": nominal.value,
            "headroom_low_v": low.value,
            "headroom_least_v": low.low,
            "dropout_v": basis.dropout_v,
        }
        when = {
            "idle": "At rest",
            "test": "Under the test load",
            "sounding": "While it sounds",
            "pressed": "While pressed",
        }[state]
        field = {
            "sounding": "sound_a",
            "test": "test_ohm" if sheet.test_ohm else "test_a",
            "idle": "idle_a",
            "pressed": "idle_a",
        }[state]
        if low.value < 0.0:
            when_low = "at nominal mains" if nominal.value < 0.0 else "when the mains are low"
            at = at_nominal if nominal.value < 0.0 else at_low
            if basis.regulator == "switching":
                text = (
                    f"{when} the supply cannot carry the load {when_low}: the rail runs down to the {quantity(basis.dropout_v, 'V')} at "
                    "which the regulator locks out, and the chime goes off and on."
                )
            else:
                text = (
                    f"{when} the rail falls to {quantity(at.rail_min_v.value, 'V')} in every cycle {when_low}, below the "
                    f"{quantity(basis.dropout_v, 'V')} that the regulator needs."
                )
            yield Remark(field, "wrong", text, rule, PRACTICE, values)
        elif low.low < 0.0:
            text = (
                f"{when} the rail may fall to {quantity(at_low.rail_min_v.low, 'V')} when the mains are low, depending on the transformer; "
                f"the regulator needs {quantity(basis.dropout_v, 'V')}."
            )
            yield Remark(field, "doubtful", text, rule, PRACTICE, values)


def drop_out(sheet: FitOut) -> Iterator[Remark]:
    """A regulator that only steps down cannot work from a rail below its output."""
    if sheet.dropout_v is None or sheet.regulator_v is None or sheet.dropout_v >= sheet.regulator_v:
        return
    text = f"A regulator for {quantity(sheet.regulator_v, 'V')} drops out above that, not at {quantity(sheet.dropout_v, 'V')}."
    severity: Severity = "doubtful" if sheet.regulator == "switching" else "wrong"
    values = {"dropout_v": sheet.dropout_v, "regulator_v": sheet.regulator_v}
    rule = "the rail at drop-out is the output and the regulator's own drop"
    yield Remark("dropout_v", severity, text, rule, PRACTICE, values)


def heat(sheet: FitOut, basis: Basis, envelope: Envelope) -> Iterator[Remark]:
    """A linear regulator turns (rail - output) x current into heat; most at high mains."""
    if basis.regulator != "linear" or sheet.regulator_v is None:
        return
    resistance = sheet.regulator_k_per_w or BARE_K_PER_W
    rule = f"(rail − output) × current × {resistance:g} K/W over {AMBIENT_C:g} °C stays below {JUNCTION_C:g} °C"
    for state in ("idle", "sounding"):
        found = envelope.at("idle" if state == "idle" else "sounding", "high")
        if not found:
            continue
        power = max((one.rail_mean_v.high - sheet.regulator_v) * basis.loads_a[state] for one in found)
        junction = AMBIENT_C + power * resistance
        if junction <= JUNCTION_C:
            continue
        values = {"regulator_heat_w": power, "junction_c": junction, "k_per_w": resistance}
        heat = quantity(power, "W")
        if sheet.regulator_k_per_w and state == "idle":
            text = (
                f"At rest the regulator makes {heat} of heat at high mains, which would bring it to {junction:.0f} °C."
            )
        elif sheet.regulator_k_per_w:
            text = (
                f"While it sounds the regulator makes {heat} of heat at high mains, "
                f"which would bring it to {junction:.0f} °C if it sounded for long."
            )
        elif state == "idle":
            text = (
                f"At rest the regulator makes {heat} of heat at high mains; without a heat sink it would grow too hot."
            )
        else:
            text = (
                f"While it sounds the regulator makes {heat} of heat at high mains; "
                "without a heat sink it would grow too hot if it sounded for long."
            )
        bad = state == "idle" and sheet.regulator_k_per_w is not None
        yield Remark(
            "regulator_k_per_w",
            "wrong" if bad else "doubtful",
            text,
            rule,
            "typical of data sheets, from memory",
            values,
        )


def stands(sheet: FitOut, basis: Basis, envelope: Envelope) -> Iterator[Remark]:
    """A three-terminal regulator's input stands 35 or 40 V."""
    found = envelope.at("idle", "high")
    if basis.regulator != "linear" or not found:
        return
    rail = max(found, key=lambda one: one.rail_max_v.high).rail_max_v
    adjustable = sheet.regulator_r1_ohm is not None
    limit = ADJUSTABLE_STANDS_V + (sheet.regulator_v or 0.0) if adjustable else FIXED_STANDS_V
    if rail.high <= limit:
        return
    rule = "adjustable: 40 V between input and output; fixed: 35 V at the input"
    text = (
        f"At high mains the rail reaches {quantity(rail.value, 'V')}, up to {quantity(rail.high, 'V')}; "
        f"an adjustable regulator stands {quantity(limit, 'V')} there." if adjustable
        else f"At high mains the rail reaches {quantity(rail.value, 'V')}, up to {quantity(rail.high, 'V')}; "
        "usual fixed three-terminal regulators stand 35 V, so look up this one."
    )  # fmt: skip
    severity: Severity = "wrong" if adjustable and rail.value > limit else "doubtful"
    source = ADJUSTABLE_SOURCE if adjustable else "data sheets of fixed regulators, from memory"
    yield Remark(
        "regulator",
        severity,
        text,
        rule,
        source,
        {"rail_max_v": rail.value, "limit_v": limit},
    )


def _worst(conditions: tuple[Condition, ...]) -> Condition:
    return min(conditions, key=lambda one: one.rail_min_v.low)
