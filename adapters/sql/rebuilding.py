"""Everything that is derived, made anew from the kept packs: in a record beside, then exchanged in one transaction.

Until the exchange nothing of the record changes, so it can be broken off at any time, and the service goes on meanwhile. What
people have said (names, claims, notes, sheets), what examinations found, and when this bridge listened stay as they are.
"""

from pathlib import Path

from sqlalchemy import Connection, Engine, MetaData, Table, func, insert, select, update

from adapters.sql import finding_tables, log_tables, rollup_tables, tables
from adapters.sql.engine import attached, make_fleeting, open_engine, reading_engine, table, unavailable_told
from adapters.sql.work import SqlStore
from service.errors import Refused
from service.intake import Understander

SITE, CHIME, DOOR = table(tables.Site), table(tables.Chime), table(tables.Door)
KEPT, PROGRESS, WATCH = table(tables.KeptPack), table(tables.Progress), table(log_tables.Watch)

PLACES = (SITE, CHIME, DOOR)
DERIVED = tuple(
    table(model)
    for model in (
        tables.Boot,  # the others refer to it
        tables.PackFate,
        tables.PackKey,
        tables.ContentKey,
        tables.Visit,
        tables.Press,
        tables.Contact,
        tables.Sounding,
        tables.Presence,
        tables.Reading,
        rollup_tables.RollUp,  # empty beside: joined again when there is time
        rollup_tables.Rolled,
        tables.Waveform,
        finding_tables.Testimony,
        log_tables.Heard,
        log_tables.RailRise,
    )
)
TOLD_BY_CHIME = ("device", "first_heard_s", "last_heard_s", "alive", "alive_since_s", "level")


class Rebuilding:
    """Call `advance` until it answers None, then `exchange`; `close` in any case.

    Parameters
    ----------
    url : of the record. Raises Refused for any but SQLite, StoreUnavailable where it cannot be opened.
    beside : where the new record is made; gone after `close`.
    """

    def __init__(self, url: str, beside: Path, prefix: str, enrolment_open: bool) -> None:
        self._record: Engine = open_engine(url)
        if self._record.dialect.name != "sqlite":
            raise Refused("Only a record in SQLite can be rebuilt so far.")
        self._beside = beside
        self._remove()
        self._store = SqlStore(f"sqlite:///{beside}", inbox=reading_engine(self._record))
        make_fleeting(self._store.engine)
        self._understander = Understander(self._store, prefix, enrolment_open, tell=False)
        with unavailable_told(), self._record.connect() as here, self._store.engine.begin() as there:
            for target in (*PLACES, WATCH):
                _copy(here, there, target)
            there.execute(update(CHIME).values(device=None, alive=None, alive_since_s=None, level="", last_heard_s=0.0))

    def total(self) -> int:
        """How many packs are kept."""
        with unavailable_told(), self._record.connect() as connection:
            return int(connection.execute(select(func.count()).select_from(KEPT)).scalar_one())

    def advance(self, limit: int = 4000) -> int | None:
        """Understand some packs more; how many. None: there are none left for now."""
        return self._understander.process_pending(limit) or None

    def exchange(self) -> bool:
        """Put what was made anew in place. False, and nothing changed, where the record has moved on in a way that this
        cannot follow (a chime or a door was heard for the first time, or the host's clock was set): then begin again."""
        with unavailable_told(), attached(self._record, self._beside) as connection:
            connection.execute(update(PROGRESS).values(generation=PROGRESS.c.generation + 1))  # nobody else writes now
            while self.advance():
                pass
            if not self._still_fits(connection):
                connection.rollback()
                return False
            for target in reversed(DERIVED):
                connection.execute(target.delete())
            for target in (*PLACES, *DERIVED):
                _take(connection, target)
            connection.commit()
        return True

    def close(self) -> None:
        self._store.close()
        self._record.dispose()
        self._remove()

    def _remove(self) -> None:
        for end in ("", "-wal", "-shm"):
            Path(f"{self._beside}{end}").unlink(missing_ok=True)

    def _still_fits(self, connection: Connection) -> bool:
        with self._store.engine.connect() as there:
            watches = [c.execute(select(func.count(WATCH.c.id))).scalar_one() for c in (connection, there)]
            places = [
                set(c.execute(select(CHIME.c.id, CHIME.c.site_id, CHIME.c.chime)).all()) for c in (connection, there)
            ]
            doors = [set(c.execute(select(DOOR.c.id, DOOR.c.chime_id, DOOR.c.door)).all()) for c in (connection, there)]
        return watches[0] == watches[1] and places[0] <= places[1] and doors[0] <= doors[1]


def _copy(here: Connection, there: Connection, target: Table) -> None:
    rows = [dict(row._mapping) for row in here.execute(select(target))]
    if rows:
        there.execute(insert(target), rows)


def _take(connection: Connection, target: Table) -> None:
    """Rows of the record beside; of places only those that are new, and what their chimes told."""
    beside = target.to_metadata(MetaData(), schema="beside")
    taking = insert(target).from_select([column.name for column in target.columns], select(beside))
    connection.execute(taking.prefix_with("OR IGNORE") if target in PLACES else taking)
    if target is CHIME:
        for row in connection.execute(select(beside.c.id, *(beside.c[name] for name in TOLD_BY_CHIME))).all():
            told = {name: getattr(row, name) for name in TOLD_BY_CHIME}
            connection.execute(update(CHIME).where(CHIME.c.id == row.id).values(told))
