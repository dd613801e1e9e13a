"""The part of the writer's transaction about examinations: testimony, fit-out, commissioning, quantities, findings."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

from sqlalchemy import and_, func, insert, or_, select, update

from adapters.sql.changes import Written
from adapters.sql.engine import inserted_key
from adapters.sql.finding_reader import (
    BOOT,
    CHANGE,
    COMMISSIONING,
    EXAMINATION,
    FINDING,
    FITOUT,
    ITS_PACKS,
    QUANTITY,
    TESTIMONY,
    chime_id_of,
    findings_query,
    held_of,
)
from adapters.sql.people import People
from service.errors import NotFound
from service.finding_ports import Examination
from service.findings.kinds import Kind
from service.findings.life import Held, State, Step
from service.findings.testimony import SURVEY_S
from service.findings.verdict import Measured
from service.ledger import BootLedger, ChimeLedger

TOGETHER_S = 86400.0
"""Marked packs that were put together within this time of each other are one commissioning record [s]."""

DATED_ANEW_S = 43200.0
"""The very same figures within this time are those of a survey whose boot has been dated anew [s]."""

AT_S = BOOT.c.dated_offset_s + TESTIMONY.c.up_s * (1.0 + BOOT.c.dated_drift)


class FindingWork(People):
    """Part of `SqlWork`, which gathers rows in `_waiting`."""

    written: Written
    _waiting: dict[Any, list[dict[str, Any]]]

    # testimony

    def add_testimony(
        self, chime: ChimeLedger, boot: BootLedger, pack_id: int, kind: Kind, up_s: float, commissioning: bool
    ) -> None:
        self._waiting[TESTIMONY].append({"pack_id": pack_id, "boot_id": boot.id, "kind": kind, "up_s": up_s})
        if commissioning:
            record_id = self._marked_record(chime, boot.dated.wall_s(up_s))
            self._connection.execute(insert(ITS_PACKS).values(commissioning_id=record_id, pack_id=pack_id))

    def _marked_record(self, chime: ChimeLedger, at_s: float) -> int:
        """The record that packs marked on arrival make up, stretched to this moment."""
        near = (COMMISSIONING.c.start_s <= at_s + TOGETHER_S) & (COMMISSIONING.c.end_s >= at_s - TOGETHER_S)
        record = self._connection.execute(
            select(COMMISSIONING).where(COMMISSIONING.c.chime_id == chime.id, COMMISSIONING.c.by == "", near)
        ).first()
        if record is None:
            values = {"chime_id": chime.id, "taken_s": at_s, "start_s": at_s, "end_s": at_s, "by": ""}
            return inserted_key(self._connection.execute(insert(COMMISSIONING).values(values)))
        start_s, end_s = min(record.start_s, at_s), max(record.end_s, at_s)
        if (start_s, end_s) != (record.start_s, record.end_s):
            mine = update(COMMISSIONING).where(COMMISSIONING.c.id == record.id)
            self._connection.execute(mine.values(start_s=start_s, end_s=end_s, taken_s=end_s))
        return int(record.id)

    def survey_moments(self, site: str, chime: str, limit: int) -> list[float]:
        surveys = (BOOT.c.chime_id == self._chime_id(site, chime), TESTIMONY.c.kind == "survey")
        told = select(AT_S.label("at_s")).join(BOOT, BOOT.c.id == TESTIMONY.c.boot_id).where(*surveys)
        return list(self._connection.execute(told.order_by(AT_S.desc()).limit(limit)).scalars())

    # what the installation is compared with

    def commission(self, site: str, chime: str, start_s: float, end_s: float, taken_s: float, by: str) -> int:
        chime_id = self._chime_id(site, chime)
        told = select(TESTIMONY.c.pack_id).join(BOOT, BOOT.c.id == TESTIMONY.c.boot_id)
        lately = (BOOT.c.start_s <= end_s, BOOT.c.last_heard_s >= start_s, AT_S.between(start_s, end_s))
        packs = self._connection.execute(told.where(BOOT.c.chime_id == chime_id, *lately)).scalars().all()
        if packs:
            values = {"chime_id": chime_id, "taken_s": taken_s, "start_s": start_s, "end_s": end_s, "by": by}
            record_id = inserted_key(self._connection.execute(insert(COMMISSIONING).values(values)))
            rows = [{"commissioning_id": record_id, "pack_id": pack_id} for pack_id in packs]
            self._connection.execute(insert(ITS_PACKS), rows)
        return len(packs)

    def keep_fitout(self, site: str, chime: str, sheet: dict[str, Any], kept_s: float, by: str) -> None:
        values = {"chime_id": self._chime_id(site, chime), "kept_s": kept_s, "by": by, "sheet": sheet}
        self._connection.execute(insert(FITOUT).values(values))

    # what was measured and found

    def held_findings(self, site: str, chime: str) -> Sequence[Held]:
        mine = FINDING.c.chime_id == self._chime_id(site, chime)
        cleared = mine & (FINDING.c.state == State.CLEARED)
        last = select(func.max(FINDING.c.id)).where(cleared).group_by(FINDING.c.name, FINDING.c.door)
        wanted = or_(FINDING.c.state != State.CLEARED, FINDING.c.id.in_(last))
        rows = self._connection.execute(findings_query().where(mine, wanted).order_by(FINDING.c.id))
        return [held_of(row) for row in rows]

    def put_finding(self, site: str, chime: str, step: Step) -> int:
        held, finding = step.held, step.held.finding
        self.written.findings(self._chime_id(site, chime))
        values = {
            "name": finding.name,
            "door": finding.door,
            "state": held.state.value,
            "likelihood": finding.likelihood,
            "also_possible": list(finding.also_possible),
            "evidence": [asdict(line) for line in finding.evidence],
            "since_s": finding.since_s,
            "raised_s": held.raised_s,
            "found_s": held.found_s,
            "cleared_s": held.cleared_s,
            "absences": held.absences,
            "weighed_s": held.weighed_s,
            "looked_s": held.looked_s,
        }
        finding_id = held.id
        if finding_id:
            self._connection.execute(update(FINDING).where(FINDING.c.id == finding_id).values(values))
        else:
            new = insert(FINDING).values(chime_id=self._chime_id(site, chime), **values)
            finding_id = inserted_key(self._connection.execute(new))
        if step.change is not None:
            change, before = step.change, step.change.before
            self._connection.execute(
                insert(CHANGE).values(
                    finding_id=finding_id,
                    at_s=change.at_s,
                    before=None if before is None else before.value,
                    after=change.after.value,
                    why=str(change.why),
                )
            )
        return finding_id

    def add_quantities(self, site: str, chime: str, at_s: float, measured: Mapping[str, Measured]) -> None:
        chime_id = self._chime_id(site, chime)
        self.written.findings(chime_id)
        off_s = func.abs(QUANTITY.c.at_s - at_s)
        near = QUANTITY.c.at_s.between(at_s - DATED_ANEW_S, at_s + DATED_ANEW_S)
        for name, told in measured.items():
            values = {"value": told.value, "low": told.low, "high": told.high}
            alike = and_(*(QUANTITY.c[column] == value for column, value in values.items()))
            same = or_(off_s < SURVEY_S, alike)
            mine = (QUANTITY.c.chime_id == chime_id) & (QUANTITY.c.name == name)
            held = self._connection.execute(
                select(QUANTITY.c.id, QUANTITY.c.at_s).where(mine, near, same).order_by(off_s, QUANTITY.c.id).limit(1)
            ).first()
            if held is None:
                self._connection.execute(insert(QUANTITY).values(chime_id=chime_id, name=name, at_s=at_s, **values))
            elif abs(held.at_s - at_s) < SURVEY_S:
                anew = update(QUANTITY).where(QUANTITY.c.id == held.id)
                self._connection.execute(anew.values(at_s=at_s, **values))

    def put_examination(self, examination: Examination) -> None:
        chime_id = self._chime_id(examination.site, examination.chime)
        values = asdict(examination)
        values = {name: value for name, value in values.items() if name not in ("site", "chime")}
        values["missing"] = list(examination.missing)
        changed = self._connection.execute(update(EXAMINATION).where(EXAMINATION.c.chime_id == chime_id).values(values))
        if changed.rowcount == 0:
            self._connection.execute(insert(EXAMINATION).values(chime_id=chime_id, **values))

    def _chime_id(self, site: str, chime: str) -> int:
        found = chime_id_of(self._connection, site, chime)
        if found is None:
            raise NotFound(f"no chime {chime!r} at {site!r} has been heard")
        return found
