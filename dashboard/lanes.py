"""The wires of a house, in the order in which they are drawn, and what its doors are called. Draws nothing."""

from collections.abc import Sequence
from dataclasses import dataclass

from dashboard.house import House
from dashboard.language import say
from service import model


@dataclass(frozen=True)
class Lane:
    """A wire: a door's, or the chime's that its doors lead to."""

    label: str
    chime: str
    door: str | None
    chime_lane: int
    from_s: float  # nobody listened to this wire before


def door_name(door: model.Door) -> str:
    """As said in a sentence: `Front door`, or the name as its owner gave it."""
    return say("{name} door", name=door.name) if door.name.casefold() == door.door.casefold() else door.name


def at_the(name: str) -> str:
    """Its name within a sentence.

    >>> at_the("Front door"), at_the("Ann’s door")
    ('the front door', 'Ann’s door')
    """
    plain = name.endswith(" door") and name.count(" ") == 1 and "’" not in name and "'" not in name
    return say("the {name}{name2}", name=name[0].lower(), name2=name[1:]) if plain else name


def lanes_of(house: House) -> list[Lane]:
    lanes: list[Lane] = []
    for chime in house.chimes:
        doors = [door for door in house.doors if door.chime == chime.chime]
        end = len(lanes) + len(doors)
        lanes += [
            Lane(door.name.removesuffix(" door"), door.chime, door.door, end, chime.first_heard_s) for door in doors
        ]
        name = (
            say("Chime")
            if len(house.chimes) == 1
            else say("{chime} chime", chime=chime.chime.replace("-", " ").capitalize())
        )
        lanes.append(Lane(name, chime.chime, None, end, chime.first_heard_s))
    return lanes


def places_of(lanes: Sequence[Lane]) -> dict[tuple[str, str | None], int]:
    """The number of each wire, by chime and door; a chime's own has no door."""
    return {(lane.chime, lane.door): number for number, lane in enumerate(lanes)}
