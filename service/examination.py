"""One examination of a chime: its testimony of the last day is read from the record and judged, and findings follow their life.

Reading and judging ask only the Reader, so they can take their time in any thread; what they conclude is written in one
transaction by `conclude`. Knows no thread, no SQL, and no fault of any installation.
"""

import json
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace

from service import pack, telling
from service.errors import BadPack
from service.finding_ports import Examination, Testimony
from service.findings import life, testimony
from service.findings.kinds import Kind
from service.findings.testimony import Evidence, Told
from service.findings.verdict import Measured, Surveyed, Verdict
from service.ports import Reader, Work
from service.supply.fitout import FitOut, read_fitout

Judge = Callable[[Evidence, Evidence | None, FitOut], Verdict]
"""(what is told now, the commissioning record, the fit-out sheet) -> what that says."""

STRETCH_S = 86400.0
"""An examination looks at the testimony of the last day before the newest [s]."""

LIMITS: dict[Kind, int] = {"survey": 60, "event": 600, "window": 1500}
"""The newest packs of each kind, at the most: a chime that talks without end is examined in bounded time."""

TROUBLE_LENGTH = 200
"""Characters of an unforeseen error that are kept."""


@dataclass(frozen=True, slots=True)
class Examined:
    """What was read and concluded, ready to be written."""

    record: Examination
    verdict: Verdict
    look: life.Look


def examine(reader: Reader, judge: Judge, site: str, chime: str, now_s: float) -> Examined | None:
    """Read and judge. None where the chime has told nothing of supply or presses. Raises what `judge` raises."""
    newest_s = reader.newest_testimony_s(site, chime)
    if newest_s is None:
        return None
    found = reader.testimony(site, chime, newest_s - STRETCH_S, newest_s + 1.0, LIMITS)
    records = reader.commissionings(site, chime)
    commissioned = reader.commissioning_testimony(records[0].id) if records else []
    if records and not records[0].by:  # marked on arrival: not of now, unless nothing has been told since
        marked = {one.pack_id for one in commissioned}
        found = [one for one in found if one.pack_id not in marked] or found
    sheets = reader.fitouts(site, chime, limit=1)
    sheet = read_fitout(json.dumps(sheets[0].sheet)) if sheets else FitOut()
    verdict = judge(evidence_of(found), evidence_of(commissioned) if records else None, sheet)
    worked = [record.taken_s for record in records] + [sheet.kept_s for sheet in sheets]
    survey_s = max((one.at_s for one in found if one.kind == "survey"), default=None)
    pack_id = max((one.pack_id for one in found), default=0)
    record = Examination(site, chime, now_s, pack_id, newest_s, survey_s, verdict.missing)
    return Examined(record, verdict, life.Look(now_s, newest_s, survey_s, max(worked, default=None)))


def conclude(work: Work, examined: Examined) -> None:
    """Write what was measured and found, and tell of what was raised or cleared."""
    record, look = examined.record, examined.look
    site, chime = record.site, record.chime
    for survey in (examined.verdict.surveyed, examined.verdict.commissioned):
        if survey is not None:
            keep_survey(work, site, chime, survey)
    for step in life.follow(site, chime, work.held_findings(site, chime), examined.verdict, look):
        finding_id = work.put_finding(site, chime, step)
        if step.change is not None and life.is_told(step.change):
            work.add_event("finding", look.at_s, site, chime, telling.finding(replace(step.held, id=finding_id)))
    work.put_examination(record)


def keep_survey(work: Work, site: str, chime: str, survey: Surveyed) -> None:
    """What a survey measured, under the time of the survey; once, however often it is examined."""
    warm = survey.temperature_c
    beside = {} if warm is None else {"temperature_c": Measured(warm, warm, warm)}
    work.add_quantities(site, chime, survey.at_s, {**survey.quantities, **beside})


def failed(error: Exception, site: str, chime: str, now_s: float, before: Examination | None) -> Examination:
    """What is recorded of an examination that failed: why, and how far the last one that did not had come."""
    trouble = f"{type(error).__name__}: {error}"[:TROUBLE_LENGTH]
    if before is None:
        return Examination(site, chime, now_s, 0, 0.0, None, (), trouble)
    return Examination(site, chime, now_s, before.pack_id, before.newest_s, before.survey_s, (), trouble)


def evidence_of(found: Sequence[Testimony]) -> Evidence:
    """Packs of the record as evidence for the judge."""
    told = []
    for one in found:
        with suppress(BadPack):  # understood once, but an older contract may have allowed what today's does not
            told.append(Told(pack.decode(one.payload, one.content_type, one.received_s), one.boot_id, one.at_s))
    return testimony.evidence(told)
