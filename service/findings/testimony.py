"""What a chime has told about its supply and its buttons, laid out on one line of time for the judge.

A stretch of packs becomes surveys (bursts taken together), cycle extremes, loads, pulses and power-ups. Knows no store, no
transport and nothing of what it means.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from service.model import BurstFigures, LoadState, Pack, RailRise, RailWindow, Switch, Waveform, WaveformKind

Floats = NDArray[np.floating[Any]]

NO_VALUE = -32768

SURVEY_S = 30.0
"""Bursts of one power-up no further apart than this are one survey [s]."""


@dataclass(frozen=True, slots=True)
class Told:
    """A pack with its place in time. `boot`: any number that tells power-ups apart; `up_s` the chime's own clock, if it has one."""

    pack: Pack
    boot: int
    at_s: float  # wall time at which the pack was put together


@dataclass(frozen=True, slots=True)
class Samples:
    """Rail samples at `start_s + k / rate_hz` [V]; NaN where none was taken."""

    start_s: float
    rate_hz: float
    lsb_v: float
    volts: Floats

    @property
    def at_s(self) -> Floats:
        return self.start_s + np.arange(len(self.volts)) / self.rate_hz


@dataclass(frozen=True, slots=True)
class Survey:
    """Bursts taken together, with the test load that was used. `figures`: the same told in four numbers each."""

    at_s: float
    bursts: dict[WaveformKind, Samples] = field(default_factory=dict)
    figures: dict[LoadState, BurstFigures] = field(default_factory=dict)
    test_a: float | None = None
    test_ohm: float | None = None
    mains_hz: float | None = None
    temperature_c: float | None = None


@dataclass(frozen=True, slots=True)
class Powered:
    """One power-up: from when the chime's clock began to the last it was heard, and why it began."""

    start_s: float
    last_heard_s: float
    cause: str | None = None


@dataclass(frozen=True, slots=True)
class Held:
    """A stretch with pulses, or a closed contact, told in numbers. Pulses and widths are None where not told."""

    start_s: float
    end_s: float
    pulses: int | None = None
    longest_gap_s: float | None = None
    width_s: float | None = None  # median


@dataclass(frozen=True, slots=True)
class Evidence:
    """A stretch of testimony in order of time. Arrays of cycles are of one length; NaN where a chime sent none."""

    surveys: tuple[Survey, ...] = ()
    cycle_at_s: Floats = field(default_factory=lambda: np.empty(0))  # beginning of each mains cycle
    cycle_s: float | None = None  # spacing, as the chime tells it
    maxima_v: Floats = field(default_factory=lambda: np.empty(0))
    minima_v: Floats = field(default_factory=lambda: np.empty(0))
    loads: tuple[tuple[float, LoadState], ...] = ()
    radio: tuple[tuple[float, bool], ...] = ()
    pulses: dict[str, Floats] = field(default_factory=dict)  # door -> (n, 2) rise and fall [s]
    held: dict[str, tuple[Held, ...]] = field(default_factory=dict)  # door -> what was told of it in numbers, in order
    rises: tuple[tuple[float, RailRise], ...] = ()
    windows: tuple[tuple[float, RailWindow], ...] = ()  # (end of the window, window)
    powered: tuple[Powered, ...] = ()
    temperature_c: float | None = None

    @property
    def is_empty(self) -> bool:
        return not (self.surveys or self.powered or self.doors or self.windows or len(self.cycle_at_s))

    @property
    def doors(self) -> set[str]:
        return self.pulses.keys() | self.held.keys()


def evidence(told: Iterable[Told]) -> Evidence:
    """Packs in any order to evidence.

    >>> evidence([]).is_empty
    True
    """
    packs = sorted(told, key=lambda t: t.at_s)
    at, maxima, minima, cycle_s = _cycles(packs)
    temperatures = [t.pack.temperature_c for t in packs if t.pack.temperature_c is not None]
    return Evidence(
        surveys=tuple(_surveys(packs)),
        cycle_at_s=at,
        cycle_s=cycle_s,
        maxima_v=maxima,
        minima_v=minima,
        loads=_loads(packs),
        radio=_switches(packs),
        pulses=_pulses(packs),
        held=_held(packs),
        rises=tuple(sorted(((t.at_s + r.moment_s, r) for t in packs for r in t.pack.rail_rises), key=lambda x: x[0])),
        windows=tuple(
            sorted(((t.at_s + w.moment_s, w) for t in packs for w in t.pack.rail_windows), key=lambda x: x[0])
        ),
        powered=tuple(_powered(packs)),
        temperature_c=float(np.median(temperatures)) if temperatures else None,
    )


def idle_by_log(evidence: Evidence, at_s: Floats) -> NDArray[np.bool_]:
    """Whether the chime's own log says idle at these moments; before its first word, or without a log, it is taken for idle."""
    if not evidence.loads:
        return np.ones(len(at_s), bool)
    moments = np.array([moment for moment, _ in evidence.loads])
    states = np.array([state == "idle" for _, state in evidence.loads])
    place = np.searchsorted(moments, at_s, side="right") - 1
    result: NDArray[np.bool_] = np.where(place >= 0, states[np.maximum(place, 0)], True)
    return result


def volts(waveform: Waveform) -> Floats:
    """Codes to volts, NaN for "no value"."""
    codes = np.frombuffer(waveform.codes, "<i2")
    return np.where(codes == NO_VALUE, np.nan, codes * waveform.lsb_v)


def _surveys(packs: Sequence[Told]) -> Iterable[Survey]:
    """Packs with bursts or figures, grouped; of two bursts of a kind in one survey the later counts."""
    groups: list[list[Told]] = []
    for t in packs:
        if not (t.pack.burst_figures or any(w.kind not in ("peaks", "troughs") for w in t.pack.waveforms)):
            continue
        if groups and groups[-1][0].boot == t.boot and t.at_s - groups[-1][-1].at_s < SURVEY_S:
            groups[-1].append(t)
        else:
            groups.append([t])
    for group in groups:
        bursts = {
            w.kind: Samples(t.at_s + w.moment_s, w.rate_hz, w.lsb_v, volts(w))
            for t in group
            for w in t.pack.waveforms
            if w.kind not in ("peaks", "troughs")
        }
        yield Survey(
            group[0].at_s,
            bursts,
            {f.kind: f for t in group for f in t.pack.burst_figures},
            _last(t.pack.test_load_a for t in group),
            _last(t.pack.test_load_ohm for t in group),
            _last(t.pack.mains_hz for t in group),
            _last(t.pack.temperature_c for t in group),
        )


def _cycles(packs: Sequence[Told]) -> tuple[Floats, Floats, Floats, float | None]:
    """Peaks and troughs that begin together are one run of cycles."""
    rows: list[tuple[float, Floats, Floats]] = []
    cycle_s: float | None = None
    for t in packs:
        runs: dict[float, dict[str, Waveform]] = {}
        for w in t.pack.waveforms:
            if w.kind in ("peaks", "troughs"):
                runs.setdefault(w.moment_s, {})[w.kind] = w
                cycle_s = 1.0 / w.rate_hz
        for moment, run in runs.items():
            count = max(len(w.codes) // 2 for w in run.values())
            spacing = 1.0 / next(iter(run.values())).rate_hz
            columns = [_padded(run.get(kind), count) for kind in ("peaks", "troughs")]
            rows.append((t.at_s + moment, np.arange(count) * spacing, np.stack(columns)))
    if not rows:
        return np.empty(0), np.empty(0), np.empty(0), None
    at = np.concatenate([start + offsets for start, offsets, _ in rows])
    both = np.concatenate([values for _, _, values in rows], axis=1)
    order = np.argsort(at, kind="stable")
    return at[order], both[0][order], both[1][order], cycle_s


def _padded(waveform: Waveform | None, count: int) -> Floats:
    column = np.full(count, np.nan)
    if waveform is not None:
        values = volts(waveform)
        column[: len(values)] = values
    return column


def _pulses(packs: Sequence[Told]) -> dict[str, Floats]:
    found: dict[str, list[tuple[float, float]]] = {}
    for t in packs:
        for train in t.pack.pulse_trains:
            found.setdefault(train.door, []).extend((t.at_s + r, t.at_s + f) for r, f in train.pulses)
    return {door: np.array(sorted(set(pairs))) for door, pairs in found.items()}


def _held(packs: Sequence[Told]) -> dict[str, tuple[Held, ...]]:
    """Summaries of presses, and stretches between a contact's closing and its opening or the last that was heard."""
    found: dict[str, list[Held]] = {}
    changes: dict[str, list[tuple[float, bool]]] = {}
    for t in packs:
        for told in t.pack.press_summaries:
            start = t.at_s + told.moment_s
            found.setdefault(told.door, []).append(
                Held(start, start + told.span_s, told.pulses, told.longest_gap_s, told.median_width_s)
            )
        for change in t.pack.contact_changes:
            changes.setdefault(change.door, []).append((t.at_s + change.moment_s, change.closed))
    for door, moments in changes.items():
        moments.sort()
        for (start, closed), after in zip(moments, [*moments[1:], None], strict=True):
            if closed:
                found.setdefault(door, []).append(Held(start, packs[-1].at_s if after is None else after[0]))
    return {door: tuple(sorted(stretches, key=lambda held: held.start_s)) for door, stretches in found.items()}


def _loads(packs: Sequence[Told]) -> tuple[tuple[float, LoadState], ...]:
    """The chime's own log of its load, and beside it the sound, which is a load too."""
    logged = [(t.at_s + change.moment_s, change.state) for t in packs for change in t.pack.load_changes]
    sound: list[tuple[float, LoadState]] = [
        (t.at_s + switch.moment_s, "sound" if switch.on else "idle") for t in packs for switch in t.pack.sound
    ]
    return tuple(sorted(set(logged + sound)))


def _switches(packs: Sequence[Told]) -> tuple[tuple[float, bool], ...]:
    switches: list[tuple[float, Switch]] = [(t.at_s + s.moment_s, s) for t in packs for s in t.pack.radio]
    return tuple(sorted((at, s.on) for at, s in switches))


def _powered(packs: Sequence[Told]) -> Iterable[Powered]:
    by_boot: dict[int, list[Told]] = {}
    for t in packs:
        by_boot.setdefault(t.boot, []).append(t)
    for boot in by_boot.values():
        begins = [t.at_s - t.pack.up_s for t in boot if t.pack.up_s is not None]
        causes = [t.pack.boot_cause for t in boot if t.pack.boot_cause]
        yield Powered(min(begins, default=boot[0].at_s), boot[-1].at_s, causes[0] if causes else None)


def _last(values: Iterable[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return known[-1] if known else None
