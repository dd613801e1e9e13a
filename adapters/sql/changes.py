"""What the writer has changed of each chime since somebody last asked: told after each commit, kept in memory, a few numbers a chime.

Only for whoever would otherwise read the same past again every minute. Whoever asks with a mark that is not the last one given is told
that everything may be otherwise, so a second one that asks costs time and no truth. Knows no SQL.
"""

import threading
from dataclasses import dataclass, field
from itertools import count
from math import inf

from service.alarm_ports import Changed

Mark = tuple[int, int]
EVERYTHING, NOTHING = Changed(None, -inf, True, True), Changed(None, inf, False, False)


@dataclass(slots=True)
class Written:
    """Of one transaction, by row of the chime; None: of any chime."""

    of: dict[int | None, Changed] = field(default_factory=dict)

    def windows(self, chime_id: int | None, end_s: float) -> None:
        """Windows of the rail that end then or later."""
        self._note(chime_id, NOTHING._replace(windows_s=end_s))

    def presses(self, chime_id: int | None) -> None:
        """Presses or visits."""
        self._note(chime_id, NOTHING._replace(presses=True))

    def findings(self, chime_id: int | None) -> None:
        """Findings, or what examinations measured."""
        self._note(chime_id, NOTHING._replace(findings=True))

    def _note(self, chime_id: int | None, changed: Changed) -> None:
        self.of[chime_id] = _both(self.of.get(chime_id, NOTHING), changed)


@dataclass(slots=True)
class Changes:
    """Safe from any thread."""

    _given: dict[int, tuple[Mark, Changed]] = field(default_factory=dict)
    _marks: "count[int]" = field(default_factory=count)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def committed(self, written: Written) -> None:
        if not written.of:
            return
        with self._lock:
            for chime_id, (mark, before) in self._given.items():
                for changed in (written.of.get(chime_id), written.of.get(None)):
                    before = before if changed is None else _both(before, changed)
                self._given[chime_id] = mark, before

    def since(self, chime_id: int, mark: object, generation: int) -> Changed:
        """Ask first and read afterwards: what is written in between is told the next time again.

        `generation`: of the record; when it has been made anew, everything has.
        """
        with self._lock:
            given, changed = self._given.get(chime_id, (None, EVERYTHING))
            fresh = generation, next(self._marks)
            self._given[chime_id] = fresh, NOTHING
        if given is None or given != mark or given[0] != generation:
            changed = EVERYTHING
        return changed._replace(mark=fresh)


def _both(one: Changed, other: Changed) -> Changed:
    return Changed(
        None, min(one.windows_s, other.windows_s), one.presses or other.presses, one.findings or other.findings
    )
