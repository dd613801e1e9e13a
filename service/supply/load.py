"""What a chime draws from its rail, as a smooth law of the rail's voltage.

Two kinds of regulator, a test load that is a current or a resistor, and the mean of a radio's bursts.
Refuses to know the source, and how long anything lasts.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Regulator = Literal["linear", "switching"]
Law = Callable[[Array], tuple[Array, Array]]
"""From a rail [V] to a current [A] and its slope [S]."""

KNEE_V = 0.2
"""Width of the soft knee just below the drop-out voltage [V]; a choice: real ones are of that order."""
LOWEST_KNEE_V = 0.5
"""Where nothing is said of drop-out, loads fall off below this rail, so that no rail is driven below zero [V]."""

LOWEST_SHARE = 0.15
"""Below this share of its rated rail a switching regulator's current grows no more: a choice, real ones limit it."""


@dataclass(frozen=True)
class Load:
    """A load on the rail; arrays of one shape.

    At and above `dropout_v` it is exactly what was asked for. Below it, over a knee of 0.2 V, a linear regulator's current turns
    to fall in proportion to the rail (its output follows the rail down, and so does what hangs on it); a switching one
    locks out and draws nothing. A test current is drawn in proportion below 0.5 V.

    Parameters
    ----------
    regulated_a : current through the regulator; a switching one draws it at `rated_rail_v` [A].
    regulator : "linear" (constant current) or "switching" (constant power).
    rated_rail_v : see above [V]; unused for a linear one.
    dropout_v : rail below which the regulator leaves regulation, or locks out [V].
    extra_a : constant current beside the regulator [A].
    siemens : conductance across the rail [S].

    Examples
    --------
    >>> load = Load(np.array([0.1]), "switching", np.array([12.0]), np.array([6.0]), np.array([0.0]), np.array([0.0]))
    >>> [round(float(load.current(np.array([v]))[0][0]), 4) for v in (12.0, 8.0, 6.0, 5.8)]
    [0.1, 0.15, 0.2, 0.0]
    """

    regulated_a: Array
    regulator: Regulator
    rated_rail_v: Array
    dropout_v: Array
    extra_a: Array
    siemens: Array

    @cached_property
    def full_v(self) -> Array:
        """Rail from which the load is what was asked for [V]."""
        return np.maximum(self.dropout_v, LOWEST_KNEE_V)

    @cached_property
    def regular_v(self) -> Array:
        """Rail from which the law of `in_regulation` holds [V]."""
        if self.regulator == "linear":
            return self.full_v
        return np.maximum(self.full_v, LOWEST_SHARE * self.rated_rail_v)

    @property
    def steepest(self) -> Array:
        """A bound of the slope that `current` gives [S]."""
        full = self.full_v
        if self.regulator == "linear":
            regulated = 1.2 * self.regulated_a / full
        else:
            lowest = np.maximum(full - KNEE_V, LOWEST_SHARE * self.rated_rail_v)
            regulated = 1.5 / KNEE_V * self.regulated_a * self.rated_rail_v / lowest
        return np.asarray(regulated + 1.3 * self.extra_a / LOWEST_KNEE_V + self.siemens, dtype=np.float64)

    def is_constant_above(self, rail_v: Array) -> bool:
        """Whether the current is the same for every rail at or above these."""
        if self.regulator == "switching" or np.any(self.siemens != 0.0):
            return False
        return bool(self.never_below(rail_v).all())

    def never_below(self, rail_v: Array) -> NDArray[np.bool_]:
        """Where these rails leave the load what was asked for."""
        return np.asarray(rail_v >= self.regular_v, dtype=np.bool_)

    def in_regulation(self) -> Law:
        """The law of `current`, quicker, for rails where `never_below` holds."""
        if self.regulator == "linear":
            fixed_a = self.regulated_a + self.extra_a
            return lambda rail_v: (fixed_a + self.siemens * rail_v, self.siemens)
        power_w = self.regulated_a * self.rated_rail_v
        if not (self.siemens.any() or self.extra_a.any()):

            def alone(rail_v: Array) -> tuple[Array, Array]:
                amount_a = power_w / rail_v
                slope = amount_a / rail_v
                return amount_a, np.negative(slope, slope)

            return alone

        def law(rail_v: Array) -> tuple[Array, Array]:
            amount_a = power_w / rail_v
            return amount_a + self.siemens * rail_v + self.extra_a, self.siemens - amount_a / rail_v

        return law

    def law(self) -> Law:
        """What `current` computes, made ready for many calls."""
        regulated = (
            _falling_in_proportion(self.regulated_a, self.full_v) if self.regulator == "linear" else self._locking()
        )
        siemens = self.siemens
        if not np.any(self.extra_a != 0.0):

            def without_extra(rail_v: Array) -> tuple[Array, Array]:
                amount_a, slope = regulated(rail_v)
                return amount_a + siemens * rail_v, slope + siemens

            return without_extra
        extra = _falling_in_proportion(self.extra_a, np.float64(LOWEST_KNEE_V))

        def with_extra(rail_v: Array) -> tuple[Array, Array]:
            amount_a, slope = regulated(rail_v)
            extra_a, extra_slope = extra(rail_v)
            return amount_a + extra_a + siemens * rail_v, slope + extra_slope + siemens

        return with_extra

    def _locking(self) -> Law:
        """Constant power with a gate below its lock-out."""
        start_v = self.full_v - KNEE_V
        power_w = self.regulated_a * self.rated_rail_v
        lowest_v = np.maximum(start_v, LOWEST_SHARE * self.rated_rail_v)

        def law(rail_v: Array) -> tuple[Array, Array]:
            x = np.minimum(np.maximum((rail_v - start_v) * (1.0 / KNEE_V), 0.0), 1.0)
            above_v = np.maximum(rail_v, lowest_v)
            full_a = power_w / above_v
            amount_a = full_a * (x * x * (3.0 - 2.0 * x))
            return amount_a, full_a * (x * (1.0 - x)) * (6.0 / KNEE_V) - (rail_v > lowest_v) * (amount_a / above_v)

        return law

    def current(self, rail_v: Array) -> tuple[Array, Array]:
        """Current [A] and its slope over the rail's voltage [S]; continuous, with a continuous slope. Shapes broadcast."""
        return self.law()(rail_v)


def _falling_in_proportion(amount_a: Array, full_v: Array | np.float64) -> Law:
    """The amount from `full_v` upwards, in proportion to the rail below, with a parabola between."""
    width = np.minimum(KNEE_V / full_v, 0.5)
    middle_v = full_v * (1.0 - 0.5 * width)  # of the knee
    half_v = 0.5 * width * full_v
    siemens = amount_a / middle_v
    top_v = middle_v + half_v

    def law(rail_v: Array) -> tuple[Array, Array]:
        bent_v = np.minimum(np.maximum(rail_v - (middle_v - half_v), 0.0), 2.0 * half_v)
        straight = 0.5 / half_v * bent_v  # 0 below the knee, 1 above
        return siemens * (np.minimum(rail_v, top_v) - 0.5 * straight * bent_v), siemens * (1.0 - straight)

    return law
