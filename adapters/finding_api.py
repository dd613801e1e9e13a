"""The part of the JSON API about examinations: findings, quantities, commissioning records, fit-out sheets."""

from dataclasses import asdict
from typing import Any

from fastapi import APIRouter

from adapters import finding_forms as forms
from adapters.api_forms import ChimeName, End, LongLimit, SiteName, Start, stretch_of
from service import outlooks, telling
from service.actions import Actions
from service.ports import Clock, Reader
from service.supply import fitout as fitouts

OPEN: tuple[forms.State, ...] = ("raised", "confirmed")


def add(router: APIRouter, reader: Reader, actions: Actions, clock: Clock) -> None:
    """Add the routes, which all change nothing but through `actions`."""
    _findings(router, reader)
    _quantities(router, reader, clock)
    _commissioning(router, reader, actions, clock)
    _fitout(router, reader, actions, clock)


def _findings(router: APIRouter, reader: Reader) -> None:
    def answer(site: str, chime: str | None, states: list[forms.State]) -> dict[str, Any]:
        found = reader.findings(site, chime, states=states or OPEN)
        return {
            "findings": [telling.finding(one) for one in found],
            "examinations": [telling.examination(one) for one in reader.examinations(site, chime)],
        }

    @router.get("/sites/{site}/findings", response_model=forms.Findings, tags=["findings"])
    def findings(site: SiteName, states: forms.States = []) -> dict[str, Any]:  # noqa: B006 - FastAPI copies it
        """What is wrong or doubtful with the installations of a house, and how likely. None is a sound house, as far as
        `examinations` could say."""
        reader.site(site)
        return answer(site, None, states)

    @router.get("/sites/{site}/chimes/{chime}/findings", response_model=forms.Findings, tags=["findings"])
    def findings_of_chime(site: SiteName, chime: ChimeName, states: forms.States = []) -> dict[str, Any]:  # noqa: B006
        reader.chime(site, chime)
        return answer(site, chime, states)


def _quantities(router: APIRouter, reader: Reader, clock: Clock) -> None:
    @router.get("/sites/{site}/chimes/{chime}/quantities", response_model=forms.Quantities, tags=["findings"])
    def quantities(
        site: SiteName,
        chime: ChimeName,
        name: forms.QuantityName = None,
        start: Start = None,
        end: End = None,
        limit: LongLimit = 1000,
    ) -> dict[str, Any]:
        """What examinations measured, in SI units with 90 % intervals."""
        reader.chime(site, chime)
        stretch = stretch_of(start, end, clock)
        history = reader.quantities(site, chime, name, *stretch, limit) if name is not None else []
        return {
            "quantities": {one.name: telling.quantity(one) for one in reader.latest_quantities(site, chime)},
            "history": [telling.quantity(one) for one in history],
        }

    @router.get("/sites/{site}/chimes/{chime}/outlook", response_model=forms.Outlooks, tags=["findings"])
    def outlook(site: SiteName, chime: ChimeName) -> dict[str, Any]:
        """How fast the measured quantities drift, and when they will meet a limit: from eight surveys over three weeks on."""
        reader.chime(site, chime)
        return {"outlook": [telling.outlook(one) for one in outlooks.of_chime(reader, site, chime, clock())]}


def _commissioning(router: APIRouter, reader: Reader, actions: Actions, clock: Clock) -> None:
    path = "/sites/{site}/chimes/{chime}/commissioning"

    def answer(site: str, chime: str) -> dict[str, Any]:
        told = [telling.commissioning(one) for one in reader.commissionings(site, chime)]
        return {"commissioning": told[0] if told else None, "earlier": told[1:]}

    @router.get(path, response_model=forms.Commissioning, tags=["findings"])
    def commissioning(site: SiteName, chime: ChimeName) -> dict[str, Any]:
        """When the record was taken that examinations compare with."""
        reader.chime(site, chime)
        return answer(site, chime)

    @router.post(path, status_code=201, response_model=forms.Commissioning, tags=["findings"])
    def commission(site: SiteName, chime: ChimeName, wish: forms.CommissioningWish) -> dict[str, Any]:
        """Take what the chime told in a stretch, or its newest survey, as the commissioning record: the installation is sound so."""
        reader.chime(site, chime)
        stretch = wish.stretch
        stretch_s = (stretch.start.timestamp(), stretch.end.timestamp()) if stretch else None
        actions.commission(site, chime, stretch_s, wish.by, clock())
        return answer(site, chime)


def _fitout(router: APIRouter, reader: Reader, actions: Actions, clock: Clock) -> None:
    path = "/sites/{site}/chimes/{chime}/fitout"

    def answer(site: str, chime: str) -> dict[str, Any]:
        sheets = reader.fitouts(site, chime)
        told = [telling.fitout(one) for one in sheets]
        known = set(asdict(fitouts.FitOut())) - {"unknown"}
        unknown = sorted(sheets[0].sheet.keys() - known) if sheets else []
        return {"fitout": told[0] if told else None, "unknown": unknown, "earlier": told[1:]}

    @router.get(path, response_model=forms.FitOut, tags=["findings"])
    def fitout(site: SiteName, chime: ChimeName) -> dict[str, Any]:
        """What was built in, as it was last handed in, and before."""
        reader.chime(site, chime)
        return answer(site, chime)

    @router.put(path, response_model=forms.FitOut, tags=["findings"])
    def keep_fitout(site: SiteName, chime: ChimeName, sheet: forms.Sheet, by: forms.By = "") -> dict[str, Any]:
        """Hand in a fit-out sheet. Earlier ones are kept as its history."""
        reader.chime(site, chime)
        actions.keep_fitout(site, chime, sheet, by, clock())
        return answer(site, chime)
