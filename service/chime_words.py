"""The check of a chime in words, for a terminal. Judges nothing."""

from collections.abc import Iterator

from service.chime_check import Check, Remark
from service.levels import NEEDS


def remark(one: Remark) -> str:
    return f"{'wrong' if one.grave else 'look'}: {one.about}: {one.text}"


def summary(check: Check) -> Iterator[str]:
    """Lines: what is right, what is wrong or wants a look, which levels were shown, and what the next one takes."""
    yield ""
    yield f"{check.packs} packs are right, {check.refused} would be set aside."
    if check.records:
        yield "Right: " + ", ".join(f"{name} ({count})" for name, count in sorted(check.records.items()))
    for one, count in check.report():
        yield f"{remark(one)}{f' ({count} times)' if count > 1 else ''}"
    reached = [level for level in NEEDS if level in check.levels]
    yield f"Levels shown: {', '.join(reached) or 'none'}."
    if check.next_level is not None:
        level, needs = check.next_level
        yield f"For `{level}`: send {needs}."
    yield "The chime keeps the contract." if check.good else "The chime does not keep the contract yet."
