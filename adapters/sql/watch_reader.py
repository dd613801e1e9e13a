"""The part of the reader about power-ups, blind time, presses nobody saw, and what was dated anew."""

from collections.abc import Sequence
from contextlib import AbstractContextManager
from itertools import pairwise
from math import inf
from typing import Any

from sqlalchemy import Connection, func, select

from adapters.sql import ask_tables, finding_tables, log_tables, tables
from adapters.sql.engine import table
from adapters.sql.power_ups import absences, all_boots, between_watches, chime_id, loose_s, with_runs
from service import model
from service.asks import ANSWER_WITHIN_S
from service.presses import blind
from service.presses import unseen as unseen_presses

SITE, CHIME, DOOR, BOOT = table(tables.Site), table(tables.Chime), table(tables.Door), table(tables.Boot)
PRESS, SOUNDING, PRESENCE = table(tables.Press), table(tables.Sounding), table(tables.Presence)
WAVEFORM, HEARD, RISE = table(tables.Waveform), table(log_tables.Heard), table(log_tables.RailRise)
SHEET, ASK = table(finding_tables.FitOutSheet), table(ask_tables.Ask)
WATCH, TROUBLE, REDATING = table(log_tables.Watch), table(log_tables.StoreTrouble), table(log_tables.Redating)

AROUND_S = 60.0
"""Presses this far outside a stretch may explain signs inside it [s]."""

SURVEY_SOUNDS_S = 5.0
"""A sound of which a survey took a burst, begun this long before at most, was the survey's own [s]."""

OFF_S = 1.0
"""By how much the time of a pack may be off, beside that of a request (chosen) [s]."""


class WatchReader:
    """Part of `SqlReader`."""

    def _asking(self) -> AbstractContextManager[Connection]:
        raise NotImplementedError

    def chimes(self, site: str | None = None, *, claimed: bool | None = None) -> Sequence[model.Chime]:
        raise NotImplementedError

    def chime(self, site: str, chime: str) -> model.Chime:
        raise NotImplementedError

    def boots(self, site: str, chime: str, start_s: float, end_s: float) -> Sequence[model.Boot]:
        with self._asking() as connection:
            return [
                model.Boot(site, chime, row.number, row.cause, row.start_s, row.last_heard_s)
                for row in self._boots(connection, site, chime)
                if row.number is not None and row.last_heard_s >= start_s and row.start_s < end_s
            ]

    def blind_spells(self, site: str, start_s: float, end_s: float, now_s: float) -> Sequence[model.BlindSpell]:
        found: list[model.BlindSpell] = []
        with self._asking() as connection:
            for chime in self.chimes(site):
                found += self._spells(connection, chime, start_s, end_s, now_s)
                found += self._unfitted(connection, chime, start_s, end_s)
        return sorted(found, key=lambda spell: (spell.start_s, spell.door or ""))

    def blind_of(self, chime: model.Chime, start_s: float, now_s: float) -> Sequence[model.BlindSpell]:
        with self._asking() as connection:
            return self._spells(connection, chime, start_s, now_s, now_s)

    def unseen(self, site: str, start_s: float, end_s: float) -> Sequence[model.Unseen]:
        found: list[model.Unseen] = []
        with self._asking() as connection:
            for chime in self.chimes(site):
                signs = self._signs(connection, chime, start_s, end_s)
                found += [model.Unseen(site, chime.chime, *sign) for sign in unseen_presses.unseen(signs)]
        return sorted((one for one in found if start_s <= one.start_s < end_s), key=lambda one: one.start_s)

    def redatings(self, site: str, start_s: float, end_s: float) -> Sequence[model.Redating]:
        query = (
            select(SITE.c.site, CHIME.c.chime, REDATING)
            .select_from(
                REDATING.join(CHIME, CHIME.c.id == REDATING.c.chime_id).join(SITE, SITE.c.id == CHIME.c.site_id)
            )
            .where(SITE.c.site == site, REDATING.c.end_s >= start_s, REDATING.c.start_s < end_s)
            .order_by(REDATING.c.id)
        )
        with self._asking() as connection:
            return [
                model.Redating(r.site, r.chime, r.at_s, r.start_s, r.end_s, r.shift_s, r.why)
                for r in connection.execute(query)
            ]

    # what the answers are computed from

    def _spells(
        self, connection: Connection, chime: model.Chime, start_s: float, end_s: float, now_s: float
    ) -> list[model.BlindSpell]:
        return [
            model.BlindSpell(chime.site, chime.chime, s.start_s, s.end_s, s.why, None, s.packs, s.records)
            for s in blind.spells(self._watch(connection, chime, start_s, end_s, now_s))
            if s.start_s < end_s and (s.end_s is None or s.end_s > start_s)
        ]

    def _watch(
        self, connection: Connection, chime: model.Chime, start_s: float, end_s: float, now_s: float
    ) -> blind.Watch:
        boots = self._boots(connection, chime.site, chime.chime)
        heard_of = with_runs(connection, boots, start_s, end_s)
        loose = loose_s(connection, [row for row, *_ in heard_of])
        power_ups = [
            blind.PowerUp(
                row.start_s,
                min((line.wall_s(run.first_up_s) for run in runs), default=row.start_s),
                row.last_heard_s,
                row.cause,
                [
                    blind.Missing(line.wall_s(h.start_up_s), line.wall_s(h.end_up_s), h.packs, h.records)
                    for h in missing
                ],
                loose.get(row.id, 0.0),
            )
            for row, line, runs, missing in heard_of
        ]
        silent_since_s: float | None = None
        if now_s < inf and (
            chime.alive is False or ("supply" in chime.level and now_s - chime.last_heard_s > blind.SILENT_AFTER_S)
        ):
            silent_since_s = max((boot.last_heard_s for boot in boots), default=chime.last_heard_s)
        unnumbered = all(row.number is None for row in boots)
        if not unnumbered and not any(one.missing for one in power_ups):  # then nothing has a reason to be asked for
            return blind.Watch(chime.first_heard_s, power_ups, silent_since_s=silent_since_s)
        return blind.Watch(
            chime.first_heard_s,
            power_ups,
            absences(connection, chime),
            between_watches(connection),
            [(row.start_s, row.end_s) for row in connection.execute(select(TROUBLE).order_by(TROUBLE.c.start_s))],
            unnumbered,
            silent_since_s,
        )

    def _signs(self, connection: Connection, chime: model.Chime, start_s: float, end_s: float) -> unseen_presses.Signs:
        row_id = chime_id(chime)
        first_s, last_s = start_s - AROUND_S, end_s + AROUND_S
        doors = select(DOOR.c.id).where(DOOR.c.chime_id == row_id)
        last_sign = func.coalesce(PRESS.c.end_s, PRESS.c.start_s)
        presses = connection.execute(
            select(PRESS.c.start_s, last_sign).where(
                PRESS.c.door_id.in_(doors), PRESS.c.start_s.between(first_s - blind.DAY_S, last_s), last_sign >= first_s
            )
        )
        rises = select(RISE.c.start_s, RISE.c.end_s, RISE.c.rise_v).where(
            RISE.c.chime_id == row_id, RISE.c.start_s.between(first_s, last_s)
        )
        surveyed = (
            select(WAVEFORM.c.id)
            .where(
                WAVEFORM.c.chime_id == row_id,
                WAVEFORM.c.kind == "sound",
                WAVEFORM.c.start_s.between(SOUNDING.c.start_s - SURVEY_SOUNDS_S, SOUNDING.c.start_s + SURVEY_SOUNDS_S),
            )
            .exists()
        )
        since_asked_s = SOUNDING.c.start_s - ASK.c.asked_s
        asked = (
            select(ASK.c.id)
            .where(
                ASK.c.chime_id == row_id,
                ASK.c.what == "sound",
                since_asked_s.between(-OFF_S, ANSWER_WITHIN_S["sound"]),
            )
            .exists()
        )
        soundings = select(SOUNDING.c.start_s).where(
            SOUNDING.c.chime_id == row_id, SOUNDING.c.start_s.between(first_s, last_s), ~surveyed, ~asked
        )
        boots = self._boots(connection, chime.site, chime.chime)
        restarts = [
            unseen_presses.Restart(before.last_heard_s, after.start_s)
            for before, after in pairwise(boots)
            if after.cause == "brown-out" and first_s <= after.start_s <= last_s
        ]
        heard_of = with_runs(connection, boots, start_s, end_s)
        begins_s = blind.begins_s(
            chime.first_heard_s, (line.wall_s(run.first_up_s) for _, line, runs, _ in heard_of for run in runs)
        )
        gaps = [
            unseen_presses.Gap(line.wall_s(hole.start_up_s), line.wall_s(hole.end_up_s), hole.packs, hole.records)
            for row, line, _, missing in heard_of
            for hole in missing
            if row.number is not None and line.wall_s(hole.end_up_s) > begins_s
        ]
        return unseen_presses.Signs(
            [(row[0], row[1]) for row in presses],
            [unseen_presses.Rise(*row) for row in connection.execute(rises)],
            list(connection.execute(soundings).scalars()),
            restarts,
            gaps,
        )

    def _boots(self, connection: Connection, site: str, chime: str) -> Sequence[Any]:
        """Power-ups in order; of a chime that numbers them only those."""
        rows = connection.execute(all_boots(), {"site": site, "chime": chime}).all()
        return [row for row in rows if row.number is not None] or rows

    def _unfitted(
        self, connection: Connection, chime: model.Chime, start_s: float, end_s: float
    ) -> list[model.BlindSpell]:
        """Doors that were heard of later than the record began. Whether nobody pressed or nothing was fitted, the record cannot say;
        a fit-out sheet that names the door does. The record of a chime begins where its first recording does, or where the service
        first listened.

        The first press counts as it is dated now: which pack told of the door first depends on the order of arrival.
        """
        listened_s = connection.execute(select(func.min(WATCH.c.start_s))).scalar_one()
        begins_s = chime.first_heard_s if listened_s is None else min(listened_s, chime.first_heard_s)
        if begins_s >= end_s:
            return []
        first = (
            select(func.min(PRESS.c.start_s)).where(PRESS.c.door_id == DOOR.c.id).scalar_subquery()
        )  # by its index, at once
        doors = connection.execute(select(DOOR.c.door, first).where(DOOR.c.chime_id == chime_id(chime)))
        rows = [(door, first_s) for door, first_s in doors if first_s is not None]
        sheets = select(SHEET.c.sheet, SHEET.c.kept_s).where(SHEET.c.chime_id == chime_id(chime))
        named: dict[str, float] = {}
        for sheet, kept_s in connection.execute(sheets.order_by(SHEET.c.kept_s.desc())):
            named |= dict.fromkeys(sheet.get("doors") or (), kept_s)
        fitted = {door: min(first_s, named.get(door, inf)) for door, first_s in rows}
        return [
            model.BlindSpell(chime.site, chime.chime, begins_s, fitted_s, "door not fitted yet", door)
            for door, fitted_s in fitted.items()
            if fitted_s > max(begins_s, start_s)
        ]
