"""The levels of the contract, and which of them a pack shows. Knows no record."""

from service.model import Pack

NEEDS = {
    "presses": "`<door>.press`, `<door>.span` or `<door>.edges` when somebody presses",
    "exactly-once": "`boot`, `seq` and `up` in every pack",
    "sound": "`sound`, true when it starts to sound and false when it stops",
    "supply": "`rail.mean`, `rail.min`, `rail.max` with `rail.window`",
    "bursts": "`rail.burst.test` beside `rail.burst.idle`, with `load.test`, `rail.rate` and `rail.lsb`",
    "edges": "`<door>.edges`, the pulses of the detector as they came",
}
"""What a chime sends to show a level, in the order of the contract."""


def shown(pack: Pack) -> set[str]:
    """
    >>> sorted(shown(Pack(boot=1, seq=0, up_s=2.0)))
    ['exactly-once']
    """
    found = {
        "presses": bool(pack.pulse_trains or pack.press_summaries or pack.contact_changes),
        "exactly-once": None not in (pack.boot, pack.seq, pack.up_s),
        "sound": bool(pack.sound),
        "supply": bool(pack.rail_windows),
        "bursts": any(waveform.kind == "test" for waveform in pack.waveforms),
        "edges": bool(pack.pulse_trains),
    }
    return {level for level, is_shown in found.items() if is_shown}
