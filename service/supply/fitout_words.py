"""A fit-out check as text for a terminal: remarks, a table of the rail, and what a change changes. Knows no page and no API."""

from collections.abc import Iterator, Sequence
from math import isfinite

from service.supply.assumptions import Basis
from service.supply.envelope import LEVELS, Condition, Envelope, Span, span
from service.supply.fitout import BOUNDS, MEANING
from service.supply.fitout_rules import Check
from service.supply.fitout_told import CAUTION, Figure, differences, figures
from service.supply.remark import SEVERITIES, Remark, quantity

STATES = {"idle": "at rest", "test": "test load", "sounding": "sounding", "pressed": "pressed"}
HEADINGS = {
    "wrong": "Wrong: will not work, or will break",
    "doubtful": "Doubtful: at an edge, or left open by the sheet",
    "note": "To know",
}


def text_of_check(check: Check, before: Check | None = None, changes: Sequence[str] = ()) -> str:
    """All of it. With `before`, the sheet without `changes`, what they change comes first."""
    lines: list[str] = [_verdict(check), ""]
    if before is not None:
        lines += [*_what_if(before, check, changes), ""]
    for severity in SEVERITIES:
        found = [remark for remark in check.remarks if remark.severity == severity]
        if found:
            lines += [HEADINGS[severity], *_remarks(found), ""]
    if check.basis and check.envelope:
        lines += ["The circuit as taken", *_circuit(check.basis), ""]
        if check.envelope.conditions:
            lines += [*_table(check.envelope), ""]
    if check.assumptions:
        lines += ["What the sheet leaves out", *(f"  {assumption.cost}" for assumption in check.assumptions), ""]
    return "\n".join([*lines, CAUTION])


def text_of_fields() -> str:
    """Every field of a sheet, with its unit and what it means."""
    width = max(map(len, MEANING))
    lines = [
        f"  {name.ljust(width)}  {BOUNDS[name][2] if name in BOUNDS else '':>3}  {MEANING[name]}" for name in MEANING
    ]
    return "\n".join(["A fit-out sheet is one JSON object. Every field may be left out.", *lines])


def _verdict(check: Check) -> str:
    if check.fits is None:
        return "The sheet says too little to tell whether this fit-out will work."
    count = {severity: sum(r.severity == severity for r in check.remarks) for severity in SEVERITIES}
    doubtful = f"{count['doubtful'] or 'nothing'} doubtful"
    if not check.fits:
        return f"This fit-out will not work as it is: {count['wrong']} wrong, {doubtful}."
    return f"Nothing is wrong with this fit-out; {doubtful}."


def _remarks(remarks: Sequence[Remark]) -> Iterator[str]:
    for remark in remarks:
        yield f"  {remark.field}: {remark.text}"
        if remark.severity != "note":
            yield f"      Rule: {remark.rule} ({remark.source})."


def _circuit(basis: Basis) -> Iterator[str]:
    yield f"  open secondary {_range(span(basis.open_circuit_v), 'V')}, its crest {_range(span(basis.peak_v), 'V')}"
    yield f"  source resistance {_range(span(basis.source_ohm), 'Ohm')}, of which wire {quantity(basis.wire_ohm, 'Ohm')}"
    yield f"  mains {' and '.join(f'{hz:g}' for hz in basis.mains_hz)} Hz, {basis.regulator} regulator" + (
        f", drops out below {quantity(basis.dropout_v, 'V')}" if basis.dropout_v is not None else ""
    )


def _table(envelope: Envelope) -> Iterator[str]:
    frequencies = list(dict.fromkeys(one.mains_hz for one in envelope.conditions))
    worse = f", each at the worse of {' and '.join(f'{hz:g}' for hz in frequencies)} Hz" if len(frequencies) > 1 else ""
    yield f"The rail, typical transformer (stiff to soft one){worse}"
    heads: tuple[str, ...] = ("", "mains", "highest, V", "lowest, V", "ripple, V", "head-room, V", "secondary, A rms")
    rows = [heads] + [
        _row(STATES[state] if mains == "low" else "", min(envelope.at(state, mains), key=_lowest))
        for state in envelope.states()
        for mains in LEVELS
    ]
    widths = [max(len(row[column]) for row in rows) for column in range(len(heads))]
    for row in rows:
        cells = [
            cell.ljust(width) if n < 2 else cell.rjust(width)
            for n, (cell, width) in enumerate(zip(row, widths, strict=True))
        ]
        yield ("  " + "  ".join(cells)).rstrip()


def _row(words: str, one: Condition) -> tuple[str, ...]:
    return (
        words,
        f"{one.mains} {LEVELS[one.mains] - 1.0:+.0%}".replace("-", "−") if one.mains != "nominal" else "nominal",
        _volts(one.rail_max_v),
        _volts(one.rail_min_v),
        f"{one.ripple_v.value:.2f}",
        f"{one.headroom_v.value:.1f}".replace("-", "−") if one.headroom_v else "?",
        f"{one.secondary_a.value:.3f}",
    )


def _lowest(one: Condition) -> float:
    return one.rail_min_v.value


def _volts(found: Span) -> str:
    return f"{found.value:.1f} ({found.low:.1f} to {found.high:.1f})"


def _range(found: Span, unit: str) -> str:
    if found.high - found.low < 1e-9:
        return quantity(found.value, unit)
    return f"{quantity(found.value, unit)} ({quantity(found.low, unit)} to {quantity(found.high, unit)})"


def _what_if(before: Check, after: Check, changes: Sequence[str]) -> Iterator[str]:
    yield f"What {', '.join(changes)} changes"
    pairs = [(old, new) for old, new in zip(figures(before), figures(after), strict=True) if _shown(old) != _shown(new)]
    width = max((len(old.words) for old, _ in pairs), default=0)
    if not pairs:
        yield "  no figure"
    for old, new in pairs:
        yield f"  {old.words.ljust(width)}  {_shown(old):>9} → {_shown(new)}"
    gone, brought = differences(before, after)
    for word, remarks in (("no longer", gone), ("new", brought)):
        for remark in remarks:
            if remark.severity != "note":
                yield f"  {word} {remark.severity}: {remark.field}: {remark.text}"


def _shown(figure: Figure) -> str:
    if figure.value is None:
        return "?"
    return quantity(figure.value, figure.unit) if isfinite(figure.value) else "never"
