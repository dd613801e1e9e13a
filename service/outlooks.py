"""The outlook of a chime from the record: what its surveys measured, and what that will come to.

Puts questions to the Reader and hands arrays to `findings.outlook`. Knows no SQL and no wording of pages.
"""

import json
from collections.abc import Iterable, Mapping

import numpy as np

from service.errors import SettingError
from service.findings.outlook import NAMES, Outlook, limits_of, outlook
from service.findings.testimony import SURVEY_S
from service.findings.verdict import Surveyed
from service.ports import Reader
from service.supply.assumptions import Basis, basis_of
from service.supply.drift import YEAR_S
from service.supply.fitout import FitOut, read_fitout

HISTORY_S = 5.0 * YEAR_S
"""How far an outlook looks back at the most [s]."""

HISTORY_LIMIT = 20_000
"""Surveys, of which the newest count."""


def of_chime(reader: Reader, site: str, chime: str, now_s: float) -> list[Outlook]:
    """From the quantities kept of each survey since the chime was commissioned. Empty where it never sent a survey."""
    records = reader.commissionings(site, chime)
    commissioned_s = (records[0].start_s - SURVEY_S, records[0].end_s + SURVEY_S) if records else None
    start_s = max(commissioned_s[0] if commissioned_s else 0.0, now_s - HISTORY_S)
    commissioned: dict[str, float] = {}
    histories: dict[str, dict[float, float]] = {}
    for name in (*NAMES, "temperature_c"):
        points = reader.quantities(site, chime, name, start_s, now_s + 1.0, HISTORY_LIMIT)
        histories[name] = {point.at_s: point.measured.value for point in points}
        if commissioned_s is not None:
            then = reader.quantities(site, chime, name, *commissioned_s, limit=HISTORY_LIMIT)
            if then:
                commissioned[name] = then[-1].measured.value
    return outlooks(histories, commissioned, sheet_of(reader, site, chime), now_s)


def of_surveys(
    surveys: Iterable[Surveyed], commissioned: Surveyed | None, sheet: FitOut, now_s: float
) -> list[Outlook]:
    """From surveys at hand, as of a recording."""
    histories: dict[str, dict[float, float]] = {name: {} for name in (*NAMES, "temperature_c")}
    for survey in [*surveys, *([commissioned] if commissioned else [])]:
        for name, measured in survey.quantities.items():
            histories.setdefault(name, {})[survey.at_s] = measured.value
        if survey.temperature_c is not None:
            histories["temperature_c"][survey.at_s] = survey.temperature_c
    then = {name: one.value for name, one in commissioned.quantities.items()} if commissioned else {}
    return outlooks(histories, then, sheet, now_s)


def outlooks(
    histories: Mapping[str, Mapping[float, float]], commissioned: Mapping[str, float], sheet: FitOut, now_s: float
) -> list[Outlook]:
    """`histories`: by name, moments of surveys and what they measured; the temperature beside them as `temperature_c`."""
    basis, warm = _basis(sheet), histories.get("temperature_c", {})

    def looked_at(name: str, since_s: float | None = None) -> Outlook | None:
        history, then = histories.get(name, {}), commissioned.get(name)
        at_s, values = np.array(list(history), float), np.array(list(history.values()), float)
        temperatures = np.array([warm.get(moment, np.nan) for moment in history], float)
        return outlook(name, at_s, values, temperatures, limits_of(name, then, sheet, basis), then, now_s, since_s)

    found = [one for one in map(looked_at, NAMES) if one is not None]
    changed_s = max((one.changed_s for one in found if one.changed_s is not None), default=None)
    if changed_s is None:
        return found
    # what changes one quantity at once touches the others too, if less than can be told from their scatter
    later = [one if one.changed_s == changed_s else looked_at(one.name, changed_s) for one in found]
    return [one for one in later if one is not None]


def sheet_of(reader: Reader, site: str, chime: str) -> FitOut:
    """The newest that was kept, or one that says nothing."""
    sheets = reader.fitouts(site, chime, limit=1)
    return read_fitout(json.dumps(sheets[0].sheet)) if sheets else FitOut()


def _basis(sheet: FitOut) -> Basis | None:
    try:
        return basis_of(sheet)
    except SettingError:
        return None
