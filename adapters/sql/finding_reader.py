"""The part of the Reader that answers about examinations: testimony, fit-out, commissioning, quantities, findings."""

from collections.abc import Iterable, Mapping, Sequence
from contextlib import AbstractContextManager
from typing import Any

from sqlalchemy import Connection, Select, case, func, select

from adapters.sql import finding_tables, tables
from adapters.sql.engine import table
from service.finding_ports import Commissioning, Examination, KeptSheet, QuantityPoint, Testimony
from service.findings.kinds import Kind
from service.findings.life import Change, Held, State
from service.findings.verdict import EvidenceLine, Finding, Measured
from service.walltime import Line

SITE, CHIME, BOOT, KEPT = table(tables.Site), table(tables.Chime), table(tables.Boot), table(tables.KeptPack)
TESTIMONY, FITOUT = table(finding_tables.Testimony), table(finding_tables.FitOutSheet)
COMMISSIONING, ITS_PACKS = table(finding_tables.Commissioning), table(finding_tables.CommissioningPack)
QUANTITY, EXAMINATION = table(finding_tables.Quantity), table(finding_tables.Examination)
FINDING, CHANGE = table(finding_tables.Finding), table(finding_tables.FindingChange)

PLACED = CHIME.join(SITE, SITE.c.id == CHIME.c.site_id)


class FindingReader:
    """Part of `SqlReader`; see `finding_ports.FindingReader` for what each question means."""

    def _asking(self) -> AbstractContextManager[Connection]:
        raise NotImplementedError

    # testimony

    def testimony_after(self, pack_id: int) -> tuple[int, Sequence[tuple[str, str, bool]]]:
        newest = select(func.coalesce(func.max(TESTIMONY.c.pack_id), 0))
        more = func.max(case((TESTIMONY.c.kind == "window", 0), else_=1))
        chimes = (
            select(SITE.c.site, CHIME.c.chime, more)
            .select_from(
                PLACED.join(BOOT, BOOT.c.chime_id == CHIME.c.id).join(TESTIMONY, TESTIMONY.c.boot_id == BOOT.c.id)
            )
            .where(TESTIMONY.c.pack_id > pack_id)
            .group_by(SITE.c.site, CHIME.c.chime)
        )
        with self._asking() as connection:
            last = int(
                connection.execute(newest).scalar_one()
            )  # first, so that what arrives meanwhile is told again, not lost
            return last, [(row[0], row[1], bool(row[2])) for row in connection.execute(chimes)]

    def newest_testimony_s(self, site: str, chime: str) -> float | None:
        with self._asking() as connection:
            for boot in _boots(connection, chime_id_of(connection, site, chime)):
                query = select(func.max(TESTIMONY.c.up_s)).where(TESTIMONY.c.boot_id == boot.id)
                up_s = connection.execute(query).scalar()
                if up_s is not None:
                    return line_of(boot).wall_s(up_s)
        return None

    def testimony(
        self, site: str, chime: str, start_s: float, end_s: float, limits: Mapping[Kind, int]
    ) -> Sequence[Testimony]:
        found: list[Testimony] = []
        with self._asking() as connection:
            boots = _boots(connection, chime_id_of(connection, site, chime), start_s, end_s)
            for kind, limit in limits.items():
                wanted = limit
                for boot in boots:
                    if wanted > 0:
                        query = in_stretch(boot, kind, start_s, end_s).order_by(TESTIMONY.c.up_s.desc()).limit(wanted)
                        rows = connection.execute(query).all()
                        found += (_testimony(row, line_of(boot)) for row in rows)
                        wanted -= len(rows)
        return sorted(found, key=lambda one: (one.at_s, one.pack_id))

    # what the installation is compared with

    def commissionings(self, site: str, chime: str) -> Sequence[Commissioning]:
        packs = select(func.count()).where(ITS_PACKS.c.commissioning_id == COMMISSIONING.c.id).scalar_subquery()
        with self._asking() as connection:
            query = (
                select(COMMISSIONING, packs.label("packs"))
                .where(COMMISSIONING.c.chime_id == chime_id_of(connection, site, chime))
                .order_by(COMMISSIONING.c.taken_s.desc(), COMMISSIONING.c.id.desc())
            )
            return [
                Commissioning(row.id, row.taken_s, row.start_s, row.end_s, row.packs, row.by)
                for row in connection.execute(query)
            ]

    def commissioning_testimony(self, commissioning_id: int) -> Sequence[Testimony]:
        mine = select(ITS_PACKS.c.pack_id).where(ITS_PACKS.c.commissioning_id == commissioning_id)
        query = _testimonies(BOOT.c.dated_offset_s, BOOT.c.dated_drift).join(BOOT, BOOT.c.id == TESTIMONY.c.boot_id)
        with self._asking() as connection:
            rows = connection.execute(query.where(TESTIMONY.c.pack_id.in_(mine))).all()
        found = (_testimony(row, Line(row.dated_offset_s, row.dated_drift)) for row in rows)
        return sorted(found, key=lambda one: (one.at_s, one.pack_id))

    def fitouts(self, site: str, chime: str, limit: int = 100) -> Sequence[KeptSheet]:
        with self._asking() as connection:
            query = (
                select(FITOUT.c.kept_s, FITOUT.c.by, FITOUT.c.sheet)
                .where(FITOUT.c.chime_id == chime_id_of(connection, site, chime))
                .order_by(FITOUT.c.kept_s.desc(), FITOUT.c.id.desc())
                .limit(limit)
            )
            return [KeptSheet(*row) for row in connection.execute(query)]

    # what was measured and found

    def quantities(
        self,
        site: str,
        chime: str,
        name: str,
        start_s: float,
        end_s: float,
        limit: int = 1000,
        every_s: float | None = None,
    ) -> Sequence[QuantityPoint]:
        with self._asking() as connection:
            mine = (
                QUANTITY.c.chime_id == chime_id_of(connection, site, chime),
                QUANTITY.c.name == name,
                QUANTITY.c.at_s >= start_s,
                QUANTITY.c.at_s < end_s,
            )
            query = select(QUANTITY).where(*mine)
            if every_s is not None:
                last = select(func.max(QUANTITY.c.id)).where(*mine).group_by(func.floor(QUANTITY.c.at_s / every_s))
                query = select(QUANTITY).where(QUANTITY.c.id.in_(last))
            rows = connection.execute(query.order_by(QUANTITY.c.at_s, QUANTITY.c.id).limit(limit))
            return [_quantity(row) for row in rows]

    def latest_quantities(self, site: str, chime: str) -> Sequence[QuantityPoint]:
        with self._asking() as connection:
            mine = QUANTITY.c.chime_id == chime_id_of(connection, site, chime)
            names = connection.execute(select(QUANTITY.c.name).where(mine).distinct()).scalars().all()
            newest = select(QUANTITY).where(mine).order_by(QUANTITY.c.at_s.desc(), QUANTITY.c.id.desc()).limit(1)
            rows = [connection.execute(newest.where(QUANTITY.c.name == name)).one() for name in sorted(names)]
        return [_quantity(row) for row in rows]

    def findings(
        self, site: str, chime: str | None = None, *, states: Sequence[str] = ("raised", "confirmed"), limit: int = 1000
    ) -> Sequence[Held]:
        query = findings_query().where(SITE.c.site == site, FINDING.c.state.in_(states))
        if chime is not None:
            query = query.where(CHIME.c.chime == chime)
        order = (
            FINDING.c.cleared_s.is_not(None),
            FINDING.c.cleared_s.desc(),
            FINDING.c.likelihood.desc(),
            FINDING.c.id,
        )
        with self._asking() as connection:
            rows = connection.execute(query.order_by(*order).limit(limit)).all()
            changes: dict[int, list[Change]] = {row.id: [] for row in rows}
            for one in connection.execute(select(CHANGE).where(CHANGE.c.finding_id.in_(changes)).order_by(CHANGE.c.id)):
                before = None if one.before is None else State(one.before)
                changes[one.finding_id].append(Change(one.at_s, before, State(one.after), one.why))
        return [held_of(row, changes[row.id]) for row in rows]

    def examinations(self, site: str, chime: str | None = None) -> Sequence[Examination]:
        query = (
            select(EXAMINATION, SITE.c.site, CHIME.c.chime)
            .select_from(PLACED.join(EXAMINATION, EXAMINATION.c.chime_id == CHIME.c.id))
            .where(SITE.c.site == site)
            .order_by(CHIME.c.id)
        )
        if chime is not None:
            query = query.where(CHIME.c.chime == chime)
        with self._asking() as connection:
            return [
                Examination(
                    r.site, r.chime, r.examined_s, r.pack_id, r.newest_s, r.survey_s, tuple(r.missing), r.trouble
                )
                for r in connection.execute(query)
            ]


def chime_id_of(connection: Connection, site: str, chime: str) -> int | None:
    """Asked first, so that what belongs to it is found by one index range."""
    query = select(CHIME.c.id).select_from(PLACED).where(SITE.c.site == site, CHIME.c.chime == chime)
    return connection.execute(query).scalar()


def in_stretch(boot: Any, kind: Kind, start_s: float, end_s: float) -> Select[Any]:
    """Testimony of one boot put together at start_s <= t < end_s, with its bytes."""
    offset_s, rate = boot.dated_offset_s, 1.0 + boot.dated_drift
    return _testimonies().where(
        TESTIMONY.c.boot_id == boot.id,
        TESTIMONY.c.kind == kind,
        TESTIMONY.c.up_s >= (start_s - offset_s) / rate,
        TESTIMONY.c.up_s < (end_s - offset_s) / rate,
    )


def findings_query() -> Select[Any]:
    return select(FINDING, SITE.c.site, CHIME.c.chime).select_from(
        PLACED.join(FINDING, FINDING.c.chime_id == CHIME.c.id)
    )


def held_of(row: Any, changes: Iterable[Change] = ()) -> Held:
    lines = tuple(EvidenceLine(**line) for line in row.evidence)
    finding = Finding(row.name, row.likelihood, row.door, tuple(row.also_possible), row.since_s, lines)
    return Held(
        row.id,
        row.site,
        row.chime,
        finding,
        State(row.state),
        row.raised_s,
        row.found_s,
        row.cleared_s,
        row.absences,
        row.weighed_s,
        row.looked_s,
        tuple(changes),
    )


def line_of(boot: Any) -> Line:
    return Line(boot.dated_offset_s, boot.dated_drift)


def _boots(
    connection: Connection, chime_id: int | None, start_s: float | None = None, end_s: float | None = None
) -> Sequence[Any]:
    """Power-ups of which any part lies in the stretch, the newest first."""
    query = select(BOOT.c.id, BOOT.c.dated_offset_s, BOOT.c.dated_drift).where(BOOT.c.chime_id == chime_id)
    if start_s is not None:
        query = query.where(BOOT.c.last_heard_s >= start_s)
    if end_s is not None:
        query = query.where(BOOT.c.start_s < end_s)
    return connection.execute(query.order_by(BOOT.c.start_s.desc(), BOOT.c.id.desc())).all()


def _testimonies(*more: Any) -> Select[Any]:
    told = (TESTIMONY.c.pack_id, TESTIMONY.c.kind, TESTIMONY.c.boot_id, TESTIMONY.c.up_s)
    bytes_of = (KEPT.c.payload, KEPT.c.content_type, KEPT.c.received_s)
    return select(*told, *bytes_of, *more).select_from(TESTIMONY).join(KEPT, KEPT.c.id == TESTIMONY.c.pack_id)


def _testimony(row: Any, line: Line) -> Testimony:
    at_s = line.wall_s(row.up_s)
    return Testimony(row.pack_id, row.kind, row.payload, row.content_type, row.received_s, row.boot_id, at_s)


def _quantity(row: Any) -> QuantityPoint:
    return QuantityPoint(row.name, row.at_s, Measured(row.value, row.low, row.high))
