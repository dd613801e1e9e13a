"""Finds visits that are over: once each, and not again after a restart. Looks at the record every few seconds, beside the writer.

A press is told at once (`understanding.py`); a visit when nobody has pressed for as long as a caller may wait. Knows no SQL.
"""

from collections.abc import Callable
from dataclasses import dataclass

from service import telling
from service.lookout import BETWEEN_S
from service.model import Event
from service.ports import Reader
from service.presses.visits import VISIT_GAP_S

LATE_S = 900.0
"""What was over longer ago is no news, such as visits of a chime that was out of reach; its presses have been told (chosen) [s]."""

LONGEST_S = 3600.0
"""Visits that began longer ago are not looked for (chosen) [s]."""


@dataclass(slots=True)
class VisitsOver:
    """`look` at regular times, from one thread.

    Parameters
    ----------
    rest : called with how long to wait between two houses [s].
    """

    reader: Reader
    rest: Callable[[float], object] = lambda _: None
    _told: set[int] | None = None

    def look(self, now_s: float) -> list[Event]:
        """What is to be told now, still without a number."""
        start_s = now_s - VISIT_GAP_S - LATE_S - LONGEST_S
        told = self.reader.told_visits(start_s) if self._told is None else self._told
        near: set[int] = set()
        news: list[Event] = []
        for site in self.reader.sites():
            visits, _ = self.reader.visits(site.site, start_s, now_s, limit=1000, newest_first=True)
            for visit in reversed(visits):
                near.add(visit.id)
                over_s = visit.end_s + VISIT_GAP_S
                if visit.id in told or visit.doubtful or not over_s < now_s <= over_s + LATE_S:
                    continue
                if any(press.end_s is None and not press.cut_off for press in visit.presses):
                    continue  # somebody is still pressing
                news.append(Event(0, now_s, "visit", visit.site, visit.chime, telling.visit(visit)))
                told.add(visit.id)
            self.rest(BETWEEN_S)
        self._told = told & near
        return news
