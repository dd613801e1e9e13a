"""The commissioning sheet for paper: what was built in, what follows from it, what was measured when it was set to work."""

from collections.abc import Iterator

from dashboard import fitout_contexts, fitout_sheet, quantities, words
from dashboard.contexts import Row, Table
from dashboard.doorstep import head
from dashboard.house import House
from dashboard.language import resaid, say
from service.finding_ports import QuantityPoint
from service.findings.testimony import SURVEY_S
from service.model import Chime
from service.ports import Reader
from service.supply.fitout_told import CAUTION

LIMIT = 1000


def make(reader: Reader, house: House, chime: Chime) -> fitout_contexts.Commissioned:
    site = house.site.site
    kept, records = reader.fitouts(site, chime.chime, limit=1), reader.commissionings(site, chime.chime)
    sheet = kept[0].sheet if kept else {}
    predicted, remarks = fitout_sheet.predicted(sheet)
    rows: list[Row] = []
    presses = say("No commissioning record has been kept.")
    if records:
        start_s, end_s = records[0].start_s, records[0].end_s
        for point in _measured(reader, site, chime.chime, start_s - SURVEY_S, end_s + SURVEY_S):
            one = point.measured
            rows.append(
                Row(
                    (
                        quantities.name_of(point.name),
                        quantities.figure(point.name, one.value),
                        quantities.between(point.name, one.low, one.high),
                    )
                )
            )
        found, _ = reader.presses(site, start_s, end_s + 1.0, chime=chime.chime, limit=LIMIT)
        by = say(", by {by}", by=words.person(records[0].by)) if records[0].by else ""
        presses = say(
            "Kept {moment}{by}, of {packs} and {presses} between {span}.",
            moment=words.moment(records[0].taken_s, house.now_s, house.zone),
            by=by,
            packs=words.counted(records[0].packs, "pack"),
            presses=words.counted(len(found), "press", "presses"),
            span=words.span(start_s, end_s, house.zone),
        )
    return fitout_contexts.Commissioned(
        head=head(house, say("Commissioning sheet"), "fitout"),
        date=words.day_long(house.today),
        house=house.site.name,
        chime=chime.chime,
        parts=fitout_sheet.shown_fields(sheet),
        predicted=predicted,
        measured=Table(
            say("Measured when it was set to work"), (say("Quantity"), say("Measured"), say("Nine times in ten")), rows
        ),
        presses=presses,
        remarks=remarks,
        caution=resaid(CAUTION),
    )


def _measured(reader: Reader, site: str, chime: str, start_s: float, end_s: float) -> Iterator[QuantityPoint]:
    """The newest of each quantity that was measured in that stretch."""
    for name in quantities.NAMES:
        points = reader.quantities(site, chime, name, start_s, end_s, LIMIT)
        if points:
            yield points[-1]
