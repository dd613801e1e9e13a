"""Tells of visits that are over: once each, and not again after a restart. Looks at the record every few seconds.

A press is told at once (`understanding.py`); a visit when nobody has pressed for as long as a caller may wait. Knows no SQL.
"""

from dataclasses import dataclass

from service import telling
from service.ports import Reader, Work
from service.presses.visits import VISIT_GAP_S

LATE_S = 900.0
"""What was over longer ago is no news, such as visits of a chime that was out of reach; its presses have been told (chosen) [s]."""

LONGEST_S = 3600.0
"""Visits that began longer ago are not looked for (chosen) [s]."""


@dataclass(slots=True)
class VisitsOver:
    """`look` at regular times, each time in the writer's transaction."""

    reader: Reader
    _told: set[int] | None = None

    def look(self, work: Work, now_s: float) -> None:
        start_s = now_s - VISIT_GAP_S - LATE_S - LONGEST_S
        told = self.reader.told_visits(start_s) if self._told is None else self._told
        near: set[int] = set()
        for site in self.reader.sites():
            visits, _ = self.reader.visits(site.site, start_s, now_s, limit=1000, newest_first=True)
            for visit in reversed(visits):
                near.add(visit.id)
                over_s = visit.end_s + VISIT_GAP_S
                if visit.id in told or visit.doubtful or not over_s < now_s <= over_s + LATE_S:
                    continue
                if any(press.end_s is None and not press.cut_off for press in visit.presses):
                    continue  # somebody is still pressing
                work.add_event("visit", now_s, visit.site, visit.chime, telling.visit(visit))
                told.add(visit.id)
        self._told = told & near
