"""Routes about what the record could not know: blind time with its share, presses nobody saw, what was dated anew."""

from typing import Any

from fastapi import APIRouter

from adapters import log_forms as forms
from adapters.api_forms import End, SiteName, Start, stretch_of
from service import model, telling
from service.ports import Clock, Reader
from service.presses.blind import covered_s


def add(router: APIRouter, reader: Reader, clock: Clock) -> None:
    @router.get("/sites/{site}/blind", response_model=forms.BlindTime, tags=["record"])
    def blind(site: SiteName, start: Start = None, end: End = None) -> dict[str, Any]:
        """Stretches in which a press could not have been recorded, and their share of the time asked for.

        The share counts from when the first chime of the house was heard, and only until now. Where a chime is silent, what it
        keeps back may still come: that time counts as blind until then. Doors have shares of their own.
        """
        reader.site(site)
        start_s, end_s = stretch_of(start, end, clock)
        found = reader.blind_spells(site, start_s, end_s, clock())
        first_s = min((chime.first_heard_s for chime in reader.chimes(site)), default=start_s)
        return {
            "blind": [telling.blind_spell(spell) for spell in found],
            **_shares(found, max(start_s, first_s), min(end_s, clock())),
            "doors": [
                {
                    "chime": door.chime,
                    "door": door.door,
                    **_shares(found, max(start_s, first_s), min(end_s, clock()), door),
                }
                for door in reader.doors(site)
            ],
        }

    @router.get("/sites/{site}/unseen", response_model=forms.UnseenPresses, tags=["record"])
    def unseen(site: SiteName, start: Start = None, end: End = None) -> dict[str, Any]:
        """Signs that somebody probably pressed, though the record has no press."""
        reader.site(site)
        return {"unseen": [telling.unseen(one) for one in reader.unseen(site, *stretch_of(start, end, clock))]}

    @router.get("/sites/{site}/redatings", response_model=forms.Redatings, tags=["record"])
    def redatings(site: SiteName, start: Start = None, end: End = None) -> dict[str, Any]:
        """Presses that were told at one time and are dated at another now: when they were moved, by how much and why."""
        reader.site(site)
        return {"redatings": [telling.redating(one) for one in reader.redatings(site, *stretch_of(start, end, clock))]}


def _shares(
    found: list[model.BlindSpell] | Any, start_s: float, end_s: float, door: model.Door | None = None
) -> dict[str, float | None]:
    stretches = [
        (spell.start_s, end_s if spell.end_s is None else spell.end_s)
        for spell in found
        if spell.door is None or (door and (spell.chime, spell.door) == (door.chime, door.door))
        if door is None or spell.chime == door.chime
    ]
    blind_s = covered_s(stretches, start_s, end_s)
    return {"blind_s": round(blind_s, 1), "share": round(blind_s / (end_s - start_s), 6) if end_s > start_s else None}
