"""Rules on the transformer: what a bell transformer may be, what a class 2 circuit may carry, and whether it is large enough."""

from collections.abc import Iterator

from service.supply.assumptions import TYPICAL, Basis
from service.supply.envelope import Envelope
from service.supply.fitout import FitOut
from service.supply.remark import PRACTICE, Remark, Severity, quantity

BELL_SOURCE = "EN/IEC 61558-2-8 (scope), from a secondary page"
BELL_V, BELL_OPEN_V, BELL_VA = 24.0, 33.0, 100.0

CLASS_2_SOURCE = "NEC chapter 9 table 11(A), from a secondary page; above 20 V from memory"


def class_2_va(open_v: float) -> float | None:
    """Most apparent power of an inherently limited class 2 source at this open voltage [VA]; None above 30 V, where there is none.

    By hand: 16 V: 5 x 16 = 80 VA; above 20 V: 100 VA.

    >>> class_2_va(16.0), class_2_va(24.0), class_2_va(36.0)
    (80.0, 100.0, None)
    """
    if open_v > 30.0:
        return None
    return 5.0 * open_v if open_v <= 20.0 else 100.0


def bell_limits(sheet: FitOut, basis: Basis) -> Iterator[Remark]:
    """A transformer outside these is sold for something else, and its secondary may be dangerous or set fire to bell wire."""
    rule = f"a bell transformer has up to {BELL_V:g} V rated, {BELL_OPEN_V:g} V with no load and {BELL_VA:g} VA"
    if sheet.transformer_v is not None and sheet.transformer_v > BELL_V:
        text = f"A transformer of {sheet.transformer_v:g} V is no bell transformer; they end at {BELL_V:g} V."
        yield Remark("transformer_v", "doubtful", text, rule, BELL_SOURCE, {"transformer_v": sheet.transformer_v})
    elif sheet.transformer_open_v is not None and sheet.transformer_open_v > BELL_OPEN_V:
        text = f"The open secondary has {quantity(sheet.transformer_open_v, 'V')}; that of a bell transformer ends at {BELL_OPEN_V:g} V."
        yield Remark(
            "transformer_open_v", "doubtful", text, rule, BELL_SOURCE, {"transformer_open_v": sheet.transformer_open_v}
        )
    if sheet.transformer_va is not None and sheet.transformer_va > BELL_VA:
        text = f"A transformer of {sheet.transformer_va:g} VA is no bell transformer; they end at {BELL_VA:g} VA."
        yield Remark("transformer_va", "doubtful", text, rule, BELL_SOURCE, {"transformer_va": sheet.transformer_va})


def class_2(sheet: FitOut, basis: Basis) -> Iterator[Remark]:
    """Where the NEC applies, bell wiring is a class 2 circuit, and its source is limited."""
    if sheet.transformer_va is None:
        return
    open_v = float(basis.open_circuit_v[TYPICAL])
    most = class_2_va(sheet.transformer_v or open_v)
    rule = "class 2, inherently limited, alternating current: up to 20 V 5 × V volt-amperes, up to 30 V 100"
    if most is not None and sheet.transformer_va > most:
        text = (
            f"Where the NEC applies, a class 2 source of this voltage has at most {most:g} VA unless a fuse limits it; "
            f"this one has {sheet.transformer_va:g} VA."
        )
        values = {"transformer_va": sheet.transformer_va, "class_2_va": most}
        yield Remark("transformer_va", "doubtful", text, rule, CLASS_2_SOURCE, values)


def apparent_power(sheet: FitOut, basis: Basis, envelope: Envelope) -> Iterator[Remark]:
    """The pulses of a half-wave rectifier make much more rms current than the load draws; the copper heats by the rms."""
    if sheet.transformer_va is None or sheet.transformer_v is None:
        return
    rated_a = sheet.transformer_va / sheet.transformer_v
    for state in ("idle", "sounding"):
        found = [one for one in envelope.conditions if one.state == state and one.mains == "nominal"]
        if not found:
            continue
        worst = max(found, key=lambda one: one.secondary_a.value)
        rms = worst.secondary_a.value
        if rms <= rated_a:
            continue
        severity: Severity = "wrong" if state == "idle" else "doubtful"
        when = "at rest" if state == "idle" else "while it sounds"
        text = (
            f"The secondary carries {quantity(rms, 'A')} rms {when}, for a load of {quantity(worst.load_a.value, 'A')}; "
            f"{sheet.transformer_va:g} VA at {sheet.transformer_v:g} V are {quantity(rated_a, 'A')}."
        )
        if state == "sounding":
            text += " For some seconds at a time that does no harm."
        values = {"secondary_rms_a": rms, "rated_a": rated_a, "load_a": worst.load_a.value}
        yield Remark(
            "transformer_va", severity, text, "secondary rms current within apparent power / voltage", PRACTICE, values
        )
