"""The surveys of a past that was taken in whole, in a recording or the invented house, measured again for an outlook.

Fits circuits: the service itself, which needs none of this, does not load it.
"""

from collections.abc import Sequence

import numpy as np

from service.examination import evidence_of
from service.findings.kinds import Kind
from service.findings.sides import Side, sides_of, surveyed
from service.findings.testimony import Evidence
from service.findings.verdict import Surveyed
from service.outlooks import HISTORY_LIMIT, sheet_of
from service.ports import Reader
from service.supply.drift import DAY_S, Rules

LIMITS: dict[Kind, int] = {"survey": 60, "event": 600}
"""The newest packs of the day before a survey that are read with it."""

MOST_SURVEYS = 30
"""Of a past that is measured again, evenly spread: a few surveys a second are fitted, and more say little more of a trend."""


def past_surveys(
    reader: Reader, site: str, chime: str, then: Side | None = None, most: int = MOST_SURVEYS
) -> list[Surveyed]:
    """What the surveys that the record holds measured, fitted afresh: one a day, `most` at the most, oldest first.

    `then`: the side of the commissioning record, where it is at hand. Packs that were marked as that record are left out. Empty
    where there are too few, or over too short a time, to tell of a trend.
    """
    sheet, records = sheet_of(reader, site, chime), reader.commissionings(site, chime)
    marked = {one.pack_id for one in reader.commissioning_testimony(records[0].id)} if records else set[int]()
    if then is None and records:
        told = evidence_of(reader.commissioning_testimony(records[0].id))
        _, then = sides_of(Evidence(), told, sheet)
    newest_s = reader.newest_testimony_s(site, chime)
    if newest_s is None:
        return []
    packs = reader.testimony(site, chime, 0.0, newest_s + 1.0, {"survey": HISTORY_LIMIT})
    found = []
    for last_s in _spread([one.at_s for one in packs if one.pack_id not in marked], most):
        near = reader.testimony(site, chime, last_s - DAY_S / 2.0, last_s + 1.0, LIMITS)
        one = surveyed(evidence_of([pack for pack in near if pack.pack_id not in marked]), then, sheet)
        found += [one] if one is not None else []
    return found


def _spread(moments_s: Sequence[float], most: int) -> list[float]:
    """The last moment of each day that has any; evenly chosen where there are too many days, none where there are too few."""
    last: dict[int, float] = {}
    for moment in moments_s:
        last[int(moment // DAY_S)] = moment
    days = list(last.values())
    rules = Rules()
    if (
        len(days) < rules.fewest - 1 or days[-1] - days[0] < rules.shortest_s - DAY_S
    ):  # the commissioning record is one more
        return []
    if len(days) <= most:
        return days
    return [days[round(k)] for k in np.linspace(0, len(days) - 1, most)]
