"""The part of the reader about alarms: rules, how they stand, and what they went through."""

from collections.abc import Sequence
from contextlib import AbstractContextManager
from functools import cache, lru_cache
from json import loads
from typing import Any

from sqlalchemy import Connection, Select, Text, bindparam, cast, select

from adapters.sql import alarm_tables, tables
from adapters.sql.engine import table
from service.alarm_ports import KeptRule
from service.alarms.alarm import Transition
from service.alarms.life import Event, State, Told
from service.alarms.rule_form import read_rule
from service.alarms.rules import Rule
from service.alarms.standing_form import read_standing

SITE, CHIME = table(tables.Site), table(tables.Chime)
RULE, TRANSITION = table(alarm_tables.AlarmRule), table(alarm_tables.AlarmTransition)
PLACED = CHIME.join(SITE, SITE.c.id == CHIME.c.site_id)

RULES_AT_HAND = 128
"""Forms of rules whose reading is kept: some 3 kB each, and a chime has three dozen."""


class AlarmReader:
    """Part of `SqlReader`; see `alarm_ports.AlarmReader` for what each question means."""

    def _asking(self) -> AbstractContextManager[Connection]:
        raise NotImplementedError

    def alarm_rules(self, site: str, chime: str) -> Sequence[KeptRule]:
        with self._asking() as connection:
            return [_kept(row) for row in connection.execute(_rules(), {"site": site, "chime": chime})]

    def alarm_transitions(
        self, site: str, chime: str | None, start_s: float, end_s: float, limit: int = 100_000
    ) -> Sequence[tuple[str, Transition]]:
        query = (
            select(CHIME.c.chime, TRANSITION)
            .select_from(PLACED.join(TRANSITION, TRANSITION.c.chime_id == CHIME.c.id))
            .where(SITE.c.site == site, TRANSITION.c.at_s >= start_s, TRANSITION.c.at_s < end_s)
            .order_by(TRANSITION.c.at_s.desc(), TRANSITION.c.id.desc())
            .limit(limit)
        )
        if chime is not None:
            query = query.where(CHIME.c.chime == chime)
        with self._asking() as connection:
            rows = connection.execute(query).all()
        return [(row.chime, _transition(row)) for row in reversed(rows)]


@cache
def _rules() -> Select[Any]:
    named = (SITE.c.site == bindparam("site"), CHIME.c.chime == bindparam("chime"))
    mine = select(CHIME.c.id).select_from(PLACED).where(*named).scalar_subquery()
    columns = (cast(RULE.c.form, Text).label("form"), cast(RULE.c.ready, Text).label("ready"))
    more = (RULE.c.changed_by, RULE.c.off, RULE.c.standing, RULE.c.version)
    return select(*columns, *more).where(RULE.c.chime_id == mine).order_by(RULE.c.id)


@lru_cache(RULES_AT_HAND)
def _rule(form: str) -> Rule:
    """Chimes have most of their rules in common, and they are asked for every minute."""
    return read_rule(loads(form))


def _kept(row: Any) -> KeptRule:
    return KeptRule(
        _rule(row.form),
        None if row.ready is None else _rule(row.ready),
        row.changed_by,
        row.off,
        None if row.standing is None else read_standing(row.standing),
        row.version,
    )


def _transition(row: Any) -> Transition:
    before, after = State(row.before), State(row.after)
    return Transition(
        row.rule, row.at_s, before, after, Event(row.event), Told(row.told), row.who, row.why, row.until_s
    )
