"""How an alarm stands, as JSON and back: what is kept of it between two looks. Knows no store."""

from dataclasses import asdict
from typing import Any

from service.alarms.alarm import Alarm
from service.alarms.conditioning import Conditioned
from service.alarms.conditions import Sample
from service.alarms.life import State
from service.alarms.standing import Standing


def write_standing(standing: Standing) -> dict[str, Any]:
    """JSON-ready.

    >>> read_standing(write_standing(Standing(Alarm("power-out"), 5.0))) == Standing(Alarm("power-out"), 5.0)
    True
    """
    return asdict(standing) | {
        "alarm": asdict(standing.alarm) | {"state": standing.alarm.state.value},
        "taken": None if standing.taken is None else list(standing.taken),
    }


def read_standing(told: dict[str, Any]) -> Standing:
    alarm = told["alarm"]
    return Standing(
        Alarm(**(alarm | {"state": State(alarm["state"])})),
        told["clock_s"],
        Conditioned(**told["present"]),
        Conditioned(**told["worse"]),
        None if told["taken"] is None else Sample(*told["taken"]),
    )
