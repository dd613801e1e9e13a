"""Mains events from scantier records: the extremes of a stretch of time, and a chime that lost its power.

Both say that something happened, not when exactly, how deep or how long. Refuses to guess what they leave out.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from service.supply.mains_classes import Limits, MainsEvent, duration_class, kind_of
from service.supply.mains_look import GREATEST_DROP_SHARE, KNEE_V, RESIDUAL_ERROR, USUAL_DROP_V
from service.supply.mains_steady import PRESS_RISE_V

FEWEST_WINDOWS = 5
NEIGHBOURS = 60
MAINS_HZ = 50.0


@dataclass(frozen=True, slots=True)
class Window:
    """Extremes of the rail from `end_s - window_s` to `end_s` [s, V]. `own_doing`: the chime sounded or tested in it;
    `pressed`: somebody pressed in it."""

    end_s: float
    window_s: float
    max_v: float | None = None
    min_v: float | None = None
    own_doing: bool = False
    pressed: bool = False


@dataclass(frozen=True, slots=True)
class Start:
    """A power-up: when the chime's clock began, when the power-up before was last heard, and the cause it gives itself."""

    started_s: float
    heard_before_s: float | None
    cause: str | None = None
    at_a_press: bool = False


def in_windows(
    windows: Sequence[Window],
    *,
    ripple_v: float | None = None,
    drop_v: float | None = None,
    limits: Limits | None = None,
) -> list[MainsEvent]:
    """Swells from highest, dips from lowest rail of windows, each against the median of the windows around it.

    A minimum also falls by radio packets and loads that nobody told of, so a dip is never proven; windows with `own_doing`
    are passed over for dips, `ripple_v` (peak to peak, idle) is what a minimum lies below the maximum anyway. A window whose
    *maximum* is low had low mains all through. None without five windows.
    """
    limits = limits or Limits()
    told = [w for w in sorted(windows, key=lambda w: w.end_s) if w.max_v is not None and np.isfinite(w.max_v)]
    if len(told) < FEWEST_WINDOWS:
        return []
    highest = np.array([w.max_v for w in told], float)
    calm = np.array([not w.own_doing and not w.pressed for w in told])
    found = []
    for n, window in enumerate(told):
        around = slice(max(n - NEIGHBOURS // 2, 0), n + NEIGHBOURS // 2 + 1)
        level = (
            float(np.median(highest[around][calm[around]])) if calm[around].any() else float(np.median(highest[around]))
        )
        event = _in_window(window, level, ripple_v or 0.0, drop_v, limits)
        if event is not None:
            found.append(event)
    return found


def _in_window(
    window: Window, level: float, ripple_v: float, drop_v: float | None, limits: Limits
) -> MainsEvent | None:
    usual = USUAL_DROP_V if drop_v is None else drop_v
    most = usual + (GREATEST_DROP_SHARE * level if drop_v is None else 0.0)

    def share(rail: float, drop: float) -> float:
        return (rail + drop) / (level + drop)

    highest = float(window.max_v or level)
    top = highest - (PRESS_RISE_V if window.pressed else 0.0)
    if share(top, usual) > limits.swell_share:
        low = min(share(top, drop) for drop in (usual, KNEE_V, most)) - RESIDUAL_ERROR
        return _glimpse(window, share(highest, usual), low, share(highest, KNEE_V) + RESIDUAL_ERROR, limits, True)
    if share(highest, usual) < limits.dip_share and not window.own_doing:
        value = share(highest, usual)
        return _glimpse(window, value, 0.0, share(highest, most) + RESIDUAL_ERROR, limits, not window.own_doing)
    if window.min_v is None or window.own_doing:
        return None
    lowest = min(float(window.min_v) + ripple_v, highest)
    if share(lowest, usual) < limits.dip_share:
        return _glimpse(window, share(lowest, usual), 0.0, share(lowest, most) + RESIDUAL_ERROR, limits, False)
    return None


def _glimpse(window: Window, value: float, low: float, high: float, limits: Limits, proven: bool) -> MainsEvent:
    """Somewhere in the window, no longer than it: what is given as duration is the most it can be."""
    kind = kind_of(value, window.window_s, limits)
    dipped = value < 1.0
    return MainsEvent(
        kind=kind,
        duration_class=duration_class(kind, window.window_s, MAINS_HZ),
        start_s=window.end_s - window.window_s,
        duration_s=window.window_s,
        residual=value,
        residual_low=max(min(low, value), 0.0),
        residual_high=max(high, value),
        seen="window",
        seen_cycles=0,
        start_low_s=window.end_s - window.window_s,
        start_high_s=window.end_s,
        proven=proven,
        also_possible=("own load", "radio", "interruption") if dipped else (),
        reason=f"within this window of {window.window_s:g} s",
    )


def from_starts(starts: Sequence[Start], *, hold_up_s: float | None = None, boot_s: float = 0.0) -> list[MainsEvent]:
    """Suspected interruptions from power-ups that no software asked for, in order of time.

    The chime went dark between when it was last heard and its start: no longer than that, and at least for as long as the
    reservoir holds it up (`hold_up_s`, where known). `boot_s`: from the return of the power to the chime's first count.
    A chime that comes back with a press of the button had no standing supply: that is the wiring, and gives nothing here.
    """
    found = []
    for start in sorted(starts, key=lambda s: s.started_s):
        if start.heard_before_s is None or start.at_a_press or start.cause in ("watchdog", "software"):
            continue
        back_s = start.started_s - boot_s
        longest_s = max(back_s - start.heard_before_s, 0.0)
        why = {
            "power-on": "the chime started from nothing",
            "brown-out": "the chime's supply fell below what it needs; a load of its own can do that to a weak supply",
        }.get(start.cause or "", "the chime started anew and does not say why")
        found.append(
            MainsEvent(
                kind="interruption",
                duration_class=duration_class("interruption", longest_s, MAINS_HZ),
                start_s=start.heard_before_s,
                duration_s=longest_s,
                residual=None,
                residual_low=None,
                residual_high=None,
                seen="power-up",
                seen_cycles=0,
                start_low_s=start.heard_before_s,
                start_high_s=max(back_s - (hold_up_s or 0.0), start.heard_before_s),
                proven=False,
                also_possible=("own load", "loss in the wiring")
                if start.cause == "brown-out"
                else ("loss in the wiring",),
                reason=why,
            )
        )
    return found
