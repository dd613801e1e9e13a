"""What kind of testimony a pack is: a survey, an event, or one more window of the rail. Knows no record."""

from typing import Literal

from service.model import Pack

Kind = Literal["survey", "event", "window"]

KINDS: tuple[Kind, ...] = ("survey", "event", "window")


def kind_of(pack: Pack) -> Kind | None:
    """The most telling kind of what the pack says of supply and presses; None where it says nothing of them.

    A chime may repeat in every pack why it started; that is an event in the first pack only.

    >>> [kind_of(Pack(boot=7, seq=n, boot_cause="power-on")) for n in (0, 1)]
    ['event', None]
    """
    bursts = [waveform.kind for waveform in pack.waveforms if waveform.kind not in ("peaks", "troughs")]
    if bursts or pack.burst_figures:
        return "survey"
    if (
        pack.pulse_trains
        or pack.waveforms
        or pack.load_changes
        or pack.radio
        or pack.rail_rises
        or pack.press_summaries
        or pack.contact_changes
        or pack.sound
        or (pack.boot_cause and pack.seq == 0)
    ):
        return "event"
    return "window" if pack.rail_windows else None
