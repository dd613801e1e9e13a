"""The life of an alarm as a drawing: a Mermaid state diagram made from the table. Knows nothing that the table does not say."""

from service.alarms.life import LIFE, Cell, Event, Given, State, Way

SILENT = frozenset((State.SHELVED, State.SUPPRESSED, State.OUT_OF_SERVICE))
SPEAKING = tuple(state for state in State if state not in SILENT)
"""What all of these have in common is drawn once, from the box around them."""


def diagram() -> str:
    """Mermaid source. An arrow's words are the events that lead along it; in brackets what it depends on."""
    lines = ["stateDiagram-v2"]
    lines += [f'    state "{state}" as {_id(state)}' for state in State if state in SILENT]
    lines.append('    state "may speak" as may_speak {')
    lines += [f'        state "{state}" as {_id(state)}' for state in SPEAKING]
    lines.append(f"        [*] --> {_id(State.NORMAL)}")
    lines += [f"        {line}" for state in SPEAKING for line in _arrows(_id(state), _own(state))]
    lines.append("    }")
    lines += [f"    {line}" for line in _arrows("may_speak", _shared())]
    lines += [f"    {line}" for state in State if state in SILENT for line in _arrows(_id(state), LIFE[state])]
    return "\n".join(lines) + "\n"


def _shared() -> dict[Event, Cell]:
    first = LIFE[SPEAKING[0]]
    return {event: cell for event, cell in first.items() if all(LIFE[state][event] == cell for state in SPEAKING)}


def _own(state: State) -> dict[Event, Cell]:
    return {event: cell for event, cell in LIFE[state].items() if event not in _shared()}


def _arrows(before: str, cells: dict[Event, Cell]) -> list[str]:
    labels: dict[State, list[str]] = {}
    for event, cell in cells.items():
        for way in () if isinstance(cell, str) else cell:
            labels.setdefault(way.after, []).append(_label(event, way))
    return [f"{before} --> {_id(after)}: {' / '.join(words)}" for after, words in labels.items()]


def _label(event: Event, way: Way) -> str:
    return event if way.given is Given.ALWAYS else f"{event} [{way.given}]"


def _id(state: State) -> str:
    return state.name.lower()
