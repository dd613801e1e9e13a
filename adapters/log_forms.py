"""The forms in which the API tells of blind time, unseen presses and redating. Each field with its unit and an example."""

from typing import get_args

from pydantic import AwareDatetime, Field

from adapters.api_forms import Form
from service.model import BlindWhy, RedatingWhy, UnseenWhy


class BlindSpell(Form):
    site: str = Field(examples=["tern-cottage"])
    chime: str = Field(examples=["hall"])
    start: AwareDatetime
    end: AwareDatetime | None = Field(description="null while it lasts")
    why: BlindWhy = Field(description="; ".join(get_args(BlindWhy)), examples=["chime without power"])
    door: str | None = Field(description="null: at every door of the chime", examples=[None])
    packs: int = Field(description="packs known to be missing", examples=[0])
    records: int = Field(description="records that the chime says it threw away", examples=[0])


class DoorShare(Form):
    chime: str = Field(examples=["hall"])
    door: str = Field(examples=["front"])
    blind_s: float = Field(examples=[1860.0])
    share: float | None = Field(examples=[0.0215])


class BlindTime(Form):
    blind: list[BlindSpell]
    blind_s: float = Field(description="blind time in the stretch, at some chime or other [s]", examples=[1860.0])
    share: float | None = Field(
        description="of the time since the first chime was heard; null: none", examples=[0.0215]
    )
    doors: list[DoorShare]


class Unseen(Form):
    site: str = Field(examples=["tern-cottage"])
    chime: str = Field(examples=["hall"])
    start: AwareDatetime
    end: AwareDatetime
    why: list[UnseenWhy] = Field(description="; ".join(get_args(UnseenWhy)), examples=[["rail rose", "sounded alone"]])
    told: str = Field(examples=["Somebody probably pressed: the rail rose by 0.62 V, and no detector saw a pulse."])
    rise_v: float | None = Field(examples=[0.62])
    packs: int = Field(examples=[0])
    records: int = Field(examples=[0])


class UnseenPresses(Form):
    unseen: list[Unseen]


class Redating(Form):
    site: str = Field(examples=["tern-cottage"])
    chime: str = Field(examples=["hall"])
    at: AwareDatetime = Field(description="when the presses were moved")
    start: AwareDatetime = Field(description="of the first of them, as it is dated now")
    end: AwareDatetime
    shift_s: float = Field(description="how much later they are dated now [s]", examples=[-41.5])
    why: RedatingWhy


class Redatings(Form):
    redatings: list[Redating]
