"""A waveform out of a text of columns, however it was written: which sign parts them, where the numbers begin, which column is time.

Nothing is known of any instrument: the way of writing that makes most of the text numbers is taken, and heads are read for units and
for the sampling. Raises NoWaveform with a sentence where there is no waveform in it.
"""

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from service.scope.capture import FEWEST, Capture, Floats, NoWaveform, Trace, without_gaps
from service.scope.number_words import WAYS, Way, quantity_of, unit_of

SAMPLED_LINES = 400
"""Of the end of a text, on which the ways of writing are tried."""

UNEVEN = 0.02
"""Steps that differ by more than this share of their mean are no constant rate; the samples are drawn anew at one."""

_INTERVAL = re.compile(r"interval|increment|period|resolution|\bdt\b|\bstep|delta|time\s*base.*sample", re.IGNORECASE)
_RATE = re.compile(r"sampl\w*\s*(rate|freq)|rate|\bfs\b|sa/s", re.IGNORECASE)
_TIME = re.compile(r"time|zeit|temps|tiempo|tempo|second|\bt\b|\bx\b", re.IGNORECASE)
_COUNT = re.compile(r"sample|index|point|sequence|number|\bn\b|\bno\b|#", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Block:
    """The part of a text that is numbers: (rows, columns), and the lines above it as fields."""

    values: Floats
    columns: tuple[int, ...]
    above: tuple[tuple[str, ...], ...]
    way: Way


def read_columns(text: str, step_s: float | None = None) -> Capture:
    """Parameters
    ----------
    step_s : from sample to sample [s], for a text that does not tell; it is believed before the text.
    """
    lines = [line for line in text.replace("\r\n", "\n").replace("\r", "\n").split("\n") if line.strip()]
    block = _block(lines)
    said: list[str] = []
    heads = _heads(block)
    time = _time_column(block, heads)
    told_s = step_s or _told_step(block, heads, time)
    if time is not None and not step_s:
        moments = block.values[:, time] * _multiple(heads[time], "s")
        if _COUNT.search(heads[time]) and not unit_of(heads[time]) and told_s:
            moments = moments * told_s
    elif told_s:
        moments = np.arange(len(block.values)) * told_s
    else:
        raise NoWaveform(
            "The file has voltages, but nothing in it says how far apart in time they are; give the step from sample to sample."
        )
    kept = [
        n
        for n in range(len(block.columns))
        if n != time and not _is_clutter(block.values[:, n], heads[n], len(block.columns))
    ]
    if not kept:
        raise NoWaveform("The file has times, but no column of voltages beside them.")
    order, step, start = _regular(moments, said)
    traces = []
    for number, column in enumerate(kept, start=1):
        values, lost = without_gaps(block.values[:, column] * _multiple(heads[column], "V"))
        name = _name(heads[column]) or f"channel {number}"
        traces.append(Trace(name, values if order is None else np.interp(order, moments, values), lost))
    return Capture(tuple(traces), step, start, tuple(said))


def _block(lines: Sequence[str]) -> Block:
    """The way of writing in which most lines are numbers in the same columns."""
    best: tuple[float, Way, tuple[int, ...], int] | None = None
    tail = lines[-SAMPLED_LINES:]
    for way in WAYS:
        rows = [[way.number(field) for field in way.fields(line)] for line in tail]
        width, _ = Counter(len(row) for row in rows).most_common(1)[0]
        rows = [row for row in rows if len(row) == width]
        columns = tuple(
            n
            for n in range(width)
            if sum(row[n] is not None for row in rows) > 0.9 * len(rows)
            and sum(row[n] is not None and np.isfinite(row[n]) for row in rows) > 0.1 * len(rows)  # type: ignore[arg-type]
        )
        share = len(rows) / len(tail) if columns else 0.0
        # two columns say more than one; of two readings of the same text the one with fewer, longer numbers is meant
        rank = share * (1.0 if len(columns) < 2 else 2.0) - 0.01 * len(columns)
        if columns and (best is None or rank > best[0] + 1e-9):
            best = rank, way, columns, width
    if best is None or len(lines) < 3:
        raise NoWaveform(
            "There is no column of numbers in the file. Save the waveform as text (CSV: time and volts), not as a picture or a setup."
        )
    _, way, columns, width = best
    return _taken(lines, way, columns, width)


def _taken(lines: Sequence[str], way: Way, columns: tuple[int, ...], width: int) -> Block:
    """From the first line on from which all columns are numbers; a line or two that are none end the block, such as a remark."""
    above: list[tuple[str, ...]] = []
    values: list[list[float]] = []
    for line in lines:
        fields = way.fields(line)
        row = [way.number(fields[n]) if n < len(fields) else None for n in columns]
        numbers = [one for one in row if one is not None]
        if len(numbers) == len(columns) and any(np.isfinite(one) for one in numbers):
            if len(fields) > width + 1 or (not values and _is_head(fields, columns)):
                above.append(tuple(fields))
            else:
                if len(fields) > len(columns) and len(above) < 200:
                    above.append(tuple(fields))  # a head may stand beside the numbers
                values.append(numbers)
        elif len(values) >= FEWEST:
            break
        else:
            above += [tuple(fields)]
            values = []
    if len(values) < FEWEST:
        raise NoWaveform(
            f"The file has only {len(values)} lines of numbers; a waveform needs at least {FEWEST} samples."
        )
    return Block(np.array(values), columns, tuple(above), way)


def _is_head(fields: Sequence[str], columns: Sequence[int]) -> bool:
    """A line of a head that happens to hold numbers where the columns are: a word stands first, and no number beside the first."""
    return (
        bool(fields)
        and 0 not in columns
        and len([f for f in fields if f]) <= 2
        and bool(re.match(r"[A-Za-z]", fields[0]))
    )


def _heads(block: Block) -> list[str]:
    """For each column what stands above it: names and units together, from the last lines that have as many fields."""
    found = ["" for _ in block.columns]
    wide = [line for line in block.above if len(line) > max(block.columns)]
    words = [line for line in wide if all(line[n] and block.way.number(line[n]) is None for n in block.columns)][-2:]
    for line in words:
        for place, column in enumerate(block.columns):
            found[place] = f"{found[place]} {line[column]}".strip()
    return found


def _time_column(block: Block, heads: Sequence[str]) -> int | None:
    """The column that grows steadily; where several do, the one whose head says so, else the first."""
    if len(block.columns) < 2:
        return None
    growing = []
    for number in range(len(block.columns)):
        values = block.values[:, number]
        if np.isfinite(values).all() and values[-1] > values[0]:
            steps = np.diff(values)
            if np.all(steps >= 0.0) and np.max(steps) <= 50.0 * np.mean(steps):
                growing.append(number)
    named = [n for n in growing if (unit := unit_of(heads[n])) and unit[0] == "s"] or [
        n for n in growing if _TIME.search(heads[n])
    ]
    found = named or growing
    return found[0] if found else None


def _told_step(block: Block, heads: Sequence[str], time: int | None) -> float | None:
    """What the head says of the sampling [s]: an interval, or a rate. In a line of its own, or as a column of the head."""
    for line in block.above:
        for place, field in enumerate(line):
            beside = next((quantity_of(one) for one in line[place + 1 : place + 3] if quantity_of(one)), None)
            own = quantity_of(field.partition(":")[2] or field.partition("=")[2])
            for told in (own, beside):
                if told is None or told[0] <= 0.0:
                    continue
                in_head = (unit_of(field.rstrip(":")) or ("", 1.0)) if told[1] is None else ("", 1.0)
                if _INTERVAL.search(field) and told[1] in (None, "s"):
                    return told[0] * (in_head[1] if in_head[0] == "s" else 1.0)
                if _RATE.search(field) and told[1] in (None, "Hz"):
                    return 1.0 / (told[0] * (in_head[1] if in_head[0] == "Hz" else 1.0))
    for upper, lower in pairwise(block.above):
        for place, field in enumerate(upper):
            if _INTERVAL.search(field) and place < len(lower):
                told = quantity_of(lower[place])
                if told and told[0] > 0.0:
                    return told[0]
    return None


def _regular(moments: Floats, said: list[str]) -> tuple[Floats | None, float, float]:
    """Times at which to draw the samples anew (None: they are even as they are), the step and the first moment [s]."""
    span = float(moments[-1] - moments[0])
    if not np.isfinite(moments).all() or span <= 0.0:
        raise NoWaveform("The times in the file do not advance; without them nothing can be measured.")
    step = span / (len(moments) - 1)
    even = moments[0] + step * np.arange(len(moments))
    if np.max(np.abs(moments - even)) <= max(UNEVEN * span / 50.0, 1.5 * step):
        return None, step, float(moments[0])
    said.append("The samples are not evenly spaced; they were drawn anew at an even step.")
    return even, step, float(moments[0])


def _is_clutter(values: Floats, head: str, columns: int) -> bool:
    """A column that only counts the samples, beside one that tells the time."""
    steps = np.diff(values)
    return columns > 2 and bool(np.all(steps == 1.0)) and bool(_COUNT.search(head) or not head)


def _multiple(head: str, unit: str) -> float:
    found = unit_of(head)
    return found[1] if found and found[0] == unit else 1.0


def _name(head: str) -> str:
    """Without its unit.

    >>> _name("CH1 (mV)"), _name("Volts"), _name("terminal V")
    ('CH1', '', 'terminal')
    """
    bare = re.sub(r"[\s(\[/,]*\b[kMmuµμn]?(V|volts?)\b[\s)\]]*$", "", head, flags=re.IGNORECASE)
    return bare.strip(" ([,/").strip()[:40]
