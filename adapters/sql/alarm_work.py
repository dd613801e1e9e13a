"""The part of the writer's transaction about alarms."""

from collections.abc import Sequence

from sqlalchemy import bindparam, delete, insert, select, update

from adapters.sql.alarm_reader import CHIME, PLACED, RULE, SITE, TRANSITION
from adapters.sql.people import People
from service.alarm_ports import KeptRule
from service.alarms.alarm import Transition
from service.alarms.rule_form import write_rule
from service.alarms.standing import Standing
from service.alarms.standing_form import write_standing
from service.errors import NotFound

_PUT_STANDING = (
    update(RULE)
    .where(
        RULE.c.chime_id == bindparam("of_chime"),
        RULE.c.rule == bindparam("of_rule"),
        RULE.c.version == bindparam("read"),
    )
    .values(standing=bindparam("now"), version=RULE.c.version + 1)
)


class AlarmWork(People):
    """Part of `SqlWork`; see `alarm_ports.AlarmWork`."""

    def put_rule(self, site: str, chime: str, kept: KeptRule) -> None:
        chime_id = self._alarm_chime_id(site, chime)
        values = {
            "form": write_rule(kept.rule),
            "ready": None if kept.ready is None else write_rule(kept.ready),
            "changed_by": kept.changed_by,
            "off": kept.off,
            "standing": None if kept.standing is None else write_standing(kept.standing),
        }
        mine = (RULE.c.chime_id == chime_id) & (RULE.c.rule == kept.rule.id)
        changed = self._connection.execute(update(RULE).where(mine).values(**values, version=RULE.c.version + 1))
        if changed.rowcount == 0:
            self._connection.execute(insert(RULE), {"chime_id": chime_id, "rule": kept.rule.id, "version": 0, **values})

    def remove_rule(self, site: str, chime: str, rule_id: str) -> None:
        mine = (RULE.c.chime_id == self._alarm_chime_id(site, chime)) & (RULE.c.rule == rule_id)
        if self._connection.execute(delete(RULE).where(mine)).rowcount == 0:
            raise NotFound(f"chime {chime!r} at {site!r} has no rule {rule_id!r}")

    def put_standings(self, site: str, chime: str, standings: Sequence[tuple[KeptRule, Standing]]) -> bool:
        chime_id = self._alarm_chime_id(site, chime)
        written = self._connection.execute(
            _PUT_STANDING,
            [
                {"of_chime": chime_id, "of_rule": kept.rule.id, "read": kept.version, "now": write_standing(standing)}
                for kept, standing in standings
            ],
        )
        return written.rowcount == len(standings)

    def add_transitions(self, site: str, chime: str, transitions: Sequence[Transition]) -> None:
        if transitions:
            chime_id = self._alarm_chime_id(site, chime)
            self._connection.execute(
                insert(TRANSITION),
                [
                    {
                        "chime_id": chime_id,
                        "rule": one.rule,
                        "at_s": one.at_s,
                        "before": one.before.value,
                        "after": one.after.value,
                        "event": one.event.value,
                        "told": one.told.value,
                        "who": one.who,
                        "why": one.why,
                        "until_s": one.until_s,
                    }
                    for one in transitions
                ],
            )

    def _alarm_chime_id(self, site: str, chime: str) -> int:
        query = select(CHIME.c.id).select_from(PLACED).where(SITE.c.site == site, CHIME.c.chime == chime)
        found = self._connection.execute(query).scalar()
        if found is None:
            raise NotFound(f"no chime {chime!r} at {site!r} has been heard")
        return int(found)
