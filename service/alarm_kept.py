"""What the rules of one chime watch, kept between one look and the next, so that a look reads only what is new.

The answers are those that the record would give afresh: what the writer says it has changed is forgotten and read again
(`alarm_ports.AlarmReader.changed`), and whatever lies before what is asked for is let go. Knows no SQL and no rule.
"""

from array import array
from bisect import bisect_left
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from math import inf

from service.alarm_ports import Ring
from service.alarms.facts import Found, Reading
from service.model import Chime
from service.ports import Reader

HOUR_S = 3600.0

MOST_READINGS = 10_000
"""Of one stretch; windows of a longer one are joined until they are no more, so that a year needs no more memory than a day."""

AT_HAND = 1000
"""Readings of one quantity that are kept; more are read each time (chosen: nearly three hours of windows of ten seconds)."""


@dataclass(slots=True)
class Stretch:
    """Moments and values from `from_s` on, as far as `known_s`; 16 bytes each."""

    from_s: float = inf
    known_s: float = -inf
    at_s: "array[float]" = field(default_factory=lambda: array("d"))
    values: "array[float]" = field(default_factory=lambda: array("d"))

    def forget_from(self, at_s: float) -> None:
        """What is then or later may be otherwise."""
        first = bisect_left(self.at_s, at_s)
        del self.at_s[first:], self.values[first:]
        self.known_s = min(self.known_s, at_s)

    def begin_at(self, from_s: float) -> float:
        """From where on it must be read now, so that it reaches from `from_s` on; inf: it does."""
        if from_s < self.from_s or self.known_s <= from_s:
            self.forget_from(-inf)
            self.known_s = from_s
        gone = bisect_left(self.at_s, from_s)
        del self.at_s[:gone], self.values[:gone]
        self.from_s = from_s
        return self.known_s

    def add(self, at_s: float, value: float = 0.0) -> None:
        self.at_s.append(at_s)
        self.values.append(value)

    def is_known(self) -> None:
        self.known_s = inf

    def readings(self, to_s: float) -> list[Reading]:
        return [Reading(*both) for both in zip(self.at_s, self.values, strict=True) if both[0] < to_s]


class Kept:
    """Of one chime. `renew` first, with each look; then ask. A new one gives the same answers, and takes longer."""

    def __init__(self) -> None:
        self._mark: object = None
        self._windows: dict[str, Stretch] = {}
        self._measured: dict[str, Stretch] = {}
        self._heard, self._pressed, self._step_s = Stretch(), Stretch(), 0.0
        self._rings: list[Ring] = []
        self._rings_from_s = inf
        self._findings: list[Found] | None = None

    def renew(self, reader: Reader, chime: Chime) -> None:
        """Forget what may be otherwise by now."""
        changed = reader.changed(chime.site, chime.chime, self._mark)
        self._mark = changed.mark
        for stretch in (*self._windows.values(), self._heard):
            # what was heard is told by whole steps
            at_s = changed.windows_s if stretch is not self._heard else self._step_of(changed.windows_s)
            stretch.forget_from(at_s)
        if changed.presses:
            self._rings_from_s = inf
            self._pressed.forget_from(-inf)
        if changed.findings:
            self._measured.clear()
            self._findings = None

    def windows(
        self, reader: Reader, chime: Chime, columns: dict[str, str], since: dict[str, float], to_s: float
    ) -> dict[str, Sequence[Reading]]:
        """Readings by name, each from its own moment on. `columns`: fields of `model.SupplyPoint` by name."""
        self._windows = {name: self._windows.get(name, Stretch()) for name in since}
        unread: dict[float, list[str]] = {}
        for name, from_s in since.items():
            begin_s = self._windows[name].begin_at(from_s)
            if from_s < begin_s < inf:  # what is new is read once for all
                unread.setdefault(begin_s, []).append(name)
            elif begin_s < inf:
                self._read(reader, chime, columns, [name], begin_s)
        for begin_s, names in unread.items():
            self._read(reader, chime, columns, names, begin_s)
        return {name: self._window(reader, chime, name, columns[name], to_s) for name in since}

    def _read(self, reader: Reader, chime: Chime, columns: dict[str, str], names: list[str], begin_s: float) -> None:
        fields = [columns[name] for name in names]
        for at_s, *values in reader.windows(chime.site, chime.chime, fields, begin_s, MOST_READINGS + 1):
            for name, value in zip(names, values, strict=True):
                if value is not None and at_s is not None:
                    self._windows[name].add(at_s, value)
        for name in names:
            self._windows[name].is_known()

    def _window(self, reader: Reader, chime: Chime, name: str, column: str, to_s: float) -> Sequence[Reading]:
        kept = self._windows[name]
        if len(kept.at_s) <= MOST_READINGS:
            found = kept.readings(to_s)
        else:
            step_s = (to_s - kept.from_s) / MOST_READINGS
            points = reader.supply(chime.site, chime.chime, kept.from_s, to_s, step_s, MOST_READINGS)
            told = ((min(point.end_s, to_s), getattr(point, column)) for point in points)
            found = [Reading(at_s, value) for at_s, value in told if value is not None]
        if len(kept.at_s) > AT_HAND:
            del self._windows[name]
        return found

    def measured(self, reader: Reader, chime: Chime, name: str, from_s: float, to_s: float) -> Sequence[Reading]:
        """What examinations measured."""
        kept = self._measured.setdefault(name, Stretch())
        if kept.begin_at(from_s) < inf:
            kept.forget_from(-inf)
            for one in reader.quantities(chime.site, chime.chime, name, from_s, inf, MOST_READINGS):
                kept.add(one.at_s, one.measured.value)
            kept.is_known()
        return kept.readings(to_s)

    def rings(self, reader: Reader, chime: Chime, from_s: float) -> Sequence[Ring]:
        """All that begin then or later, and of each door the one before if it lasts until then."""
        if from_s < self._rings_from_s:
            self._rings = list(reader.rings(chime.site, chime.chime, from_s))
        else:
            before = {one.door: one for one in self._rings if one.start_s < from_s}
            lasting = [one for one in before.values() if one.end_s is None or one.end_s >= from_s]
            self._rings = [
                *sorted(lasting, key=lambda one: one.start_s),
                *(one for one in self._rings if one.start_s >= from_s),
            ]
        self._rings_from_s = from_s
        return self._rings

    def moments(self, reader: Reader, chime: Chime, from_s: float, step_s: float) -> list[float]:
        """When windows and presses came: of each step of time the first and the last of either."""
        if step_s != self._step_s:
            self._heard, self._pressed, self._step_s = Stretch(), Stretch(), step_s
        found: list[float] = []
        asked: tuple[tuple[Stretch, Callable[..., Sequence[float]]], ...] = (
            (self._heard, reader.heard_moments),
            (self._pressed, reader.pressed_moments),
        )
        for kept, ask in asked:
            begin_s = kept.begin_at(self._step_of(from_s))
            if begin_s < inf:
                for at_s in ask(chime.site, chime.chime, begin_s, step_s):
                    kept.add(at_s)
                kept.is_known()
            found += [at_s for at_s in kept.at_s if at_s >= from_s]
        return found

    def _step_of(self, at_s: float) -> float:
        """Where the step of this moment begins."""
        known = self._step_s and -inf < at_s < inf
        return at_s // self._step_s * self._step_s if known else at_s

    def findings(self, read: Callable[[], list[Found]]) -> list[Found]:
        if self._findings is None:
            self._findings = read()
        return self._findings
