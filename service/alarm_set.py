"""The ready set of a chime, kept up to date: made from its doors, its fit-out sheet and its commissioning record.

What a person has changed or switched off stays so. Knows no SQL.
"""

import json
from collections.abc import Iterable, Sequence
from dataclasses import replace

from service.alarm_ports import KeptRule
from service.alarms.ready import ready_rules
from service.alarms.rules import Rule
from service.errors import SettingError
from service.findings.outlook import NAMES
from service.findings.testimony import SURVEY_S
from service.findings.verdict import Surveyed
from service.model import Chime
from service.ports import Reader
from service.supply.fitout import FitOut, read_fitout


def ready_set(reader: Reader, chime: Chime) -> list[Rule]:
    doors = [door.door for door in reader.doors(chime.site, chime.chime)]
    return ready_rules(doors, _sheet(reader, chime), _commissioned(reader, chime), "supply" in chime.level)


def changes(kept: Sequence[KeptRule], ready: Sequence[Rule]) -> tuple[list[KeptRule], list[str]]:
    """Rules to be written, and the ids of those that are to go.

    >>> from service.alarms.rules import NoPack
    >>> rule = Rule("silent", NoPack(60.0), "a", "b", "c")
    >>> put, gone = changes([], [rule])
    >>> changes(put, [rule]), changes(put, [])
    (([], []), ([], ['silent']))
    """
    known = {one.rule.id: one for one in kept}
    put: list[KeptRule] = []
    for rule in ready:
        before = known.get(rule.id)
        if before is None:
            put.append(KeptRule(rule, rule))
        elif before.ready is not None and before.ready != rule:
            own = before.changed_by != ""
            put.append(replace(before, rule=before.rule if own else rule, ready=rule))
    wanted = {rule.id for rule in ready}
    gone = [one.rule.id for one in kept if one.ready is not None and not one.changed_by and one.rule.id not in wanted]
    return put, gone


def in_use(kept: Iterable[KeptRule]) -> list[KeptRule]:
    """Those that are switched on; one that is off suppresses nothing."""
    on = [one for one in kept if not one.off]
    names = {one.rule.id for one in on}
    return [
        replace(
            one, rule=replace(one.rule, suppressed_by=tuple(name for name in one.rule.suppressed_by if name in names))
        )
        for one in on
    ]


def _sheet(reader: Reader, chime: Chime) -> FitOut | None:
    kept = reader.fitouts(chime.site, chime.chime, limit=1)
    try:
        return read_fitout(json.dumps(kept[0].sheet)) if kept else None
    except SettingError:  # of an earlier release
        return None


def _commissioned(reader: Reader, chime: Chime) -> Surveyed | None:
    records = reader.commissionings(chime.site, chime.chime)
    if not records:
        return None
    start_s, end_s = records[0].start_s - SURVEY_S, records[0].end_s + SURVEY_S
    found = {name: reader.quantities(chime.site, chime.chime, name, start_s, end_s) for name in NAMES}
    return Surveyed(end_s, {name: points[-1].measured for name, points in found.items() if points})
