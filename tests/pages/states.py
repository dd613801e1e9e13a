"""States in which a page may stand: a house with a past, one that has nothing to tell, a silent chime, a record that fails."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from service import model
from service.presses.away import Away
from tests.pages.tern_cottage import NOW_S, Record, at, empty_house, health, usual_house, with_findings, with_supply
from tests.pages.test_forms_do_what_they_say import aside

HOUSE = "/house/tern-cottage"
FULL = "The record cannot be written: the disk is full. Free some space, and it will go on by itself."


@dataclass(frozen=True)
class State:
    """`given`: what `opened` gets beside the record. `addresses`: the pages that show it."""

    record: Callable[[], Record]
    addresses: Sequence[str]
    given: Callable[[], dict[str, Any]] = field(default=dict)


def full_house() -> Record:
    record = with_findings(with_supply(usual_house()))
    record.rang("front", "25 Nov 2026 12.00", (0.01,), doubtful=True)
    record.rang("garden", "25 Nov 2026 13.00", (2.5, 0.4, 0.4))
    record.rang("garden", "25 Nov 2026 15.00", (0.4,), uncertainty_s=4.0, sounds=False)
    record.press_list = [
        replace(one, drop_outs=2, bounce=True, cut_off=True) if one.door == "garden" else one
        for one in record.press_list
    ]
    record.notes = {1: ("Ann", "parcel, postman"), 2: ("Ann", None)}
    record.cadence_of = {1: "family"}
    record.set_aside_list = [aside(1, b"\x9f\xa3\x21\x02"), aside(2, b'[{"n":"rail.mean","u":"V","v":400}]')]
    record.redating_list.append(
        model.Redating("tern-cottage", "hall", NOW_S - 60.0, at("25 Nov 2026 11.00"), NOW_S, 7200.0, "better estimate")
    )
    record.away_list = [
        ("Ann", Away("one", "", at("20 Nov 2026 09.00"), at("22 Nov 2026 18.00"))),
        ("Ann", Away("two", "", at("28 Nov 2026 09.00"), at("29 Nov 2026 18.00"))),
    ]
    return record


def unclaimed_house() -> Record:
    record = empty_house()
    record.chime_list = [replace(one, claimed=False) for one in record.chime_list]
    return record


def house_without_chimes() -> Record:
    record = empty_house()
    record.chime_list = []
    return record


def broken_house() -> Record:
    record = usual_house()
    record.trouble = FULL
    return record


def _failing() -> dict[str, Any]:
    told = health()
    told.store_trouble, told.store_since_s = FULL, at("25 Nov 2026 17.42")
    return {"told": told}


STATES = {
    "with a past": State(
        full_house,
        (
            "/", f"{HOUSE}?since=look", f"{HOUSE}?start=2026-11-20T09:00", f"{HOUSE}/callers", f"{HOUSE}/supply",
            f"{HOUSE}/set-aside", f"{HOUSE}/names", f"{HOUSE}/found?words=postman", f"{HOUSE}/found", "/house/nowhere",
            *(f"{HOUSE}/day/2026-11-{day}" for day in (20, 24, 25)), *(f"{HOUSE}/visit/{number}" for number in range(1, 7)),
            f"{HOUSE}/day/soon", f"{HOUSE}?start=soon",
        ),
    ),
    "empty": State(
        empty_house, ("/", f"{HOUSE}/callers", f"{HOUSE}/supply", f"{HOUSE}/set-aside", f"{HOUSE}/day/2026-11-20")
    ),
    "not yet claimed": State(unclaimed_house, ("/",)),
    "without chimes": State(house_without_chimes, ("/",)),
    "silent": State(usual_house, ("/", f"{HOUSE}/supply"), lambda: {"now_s": NOW_S + 7200.0}),
    "cannot write": State(usual_house, ("/",), _failing),
    "cannot be read": State(broken_house, ("/",)),
}  # fmt: skip
