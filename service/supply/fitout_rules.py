"""All rules on a fit-out together: what is wrong, what is doubtful, what is worth knowing, worst first.

Each rule is a function that yields remarks; this is the list of them. Knows nothing that was measured.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import chain

import numpy as np

from service.supply import part_rules, rail_rules, regulator_rules, transformer_rules
from service.supply.assumptions import Assumption, Basis, basis_of
from service.supply.envelope import Envelope, envelope_of
from service.supply.fitout import FitOut, nearest
from service.supply.remark import SEVERITIES, Remark


@dataclass(frozen=True, slots=True)
class Check:
    """A fit-out sheet with all that follows from it. `basis` and `envelope` are None where the sheet names no transformer voltage."""

    sheet: FitOut
    basis: Basis | None
    envelope: Envelope | None
    remarks: tuple[Remark, ...]
    assumptions: tuple[Assumption, ...]

    @property
    def fits(self) -> bool | None:
        """Whether nothing is wrong; something may be doubtful. None: too little is known to say so."""
        if self.basis is None:
            return False if any(remark.severity == "wrong" for remark in self.remarks) else None
        return all(remark.severity != "wrong" for remark in self.remarks)


@np.errstate(
    all="ignore"
)  # sheets at the edge of the bounds overflow on the way; what comes out is a number or told as none
def check(sheet: FitOut) -> Check:
    """A sheet through envelope and rules. Raises SettingError for a wire that is none."""
    basis = basis_of(sheet)
    envelope = envelope_of(sheet, basis) if basis else None
    found = sorted(remarks_on(sheet, basis, envelope), key=lambda remark: SEVERITIES.index(remark.severity))
    assumptions = basis.assumptions if basis else (
        Assumption("transformer_v", "Without transformer_v nothing of the rail and of the detector can be told."),
    )  # fmt: skip
    return Check(sheet, basis, envelope, tuple(found), assumptions)


def remarks_on(sheet: FitOut, basis: Basis | None, envelope: Envelope | None) -> Iterator[Remark]:
    """Every rule, in the order in which an installer meets the parts."""
    yield from unknown_fields(sheet)
    yield from regulator_rules.adjustable(sheet)
    yield from regulator_rules.drop_out(sheet)
    if basis is None or envelope is None:
        return
    yield from chain(
        transformer_rules.bell_limits(sheet, basis),
        transformer_rules.class_2(sheet, basis),
        transformer_rules.apparent_power(sheet, basis, envelope),
        rail_rules.wire(sheet, basis, envelope),
        rail_rules.standing(sheet, basis),
        part_rules.diode_voltage(sheet, basis),
        part_rules.reservoir_voltage(sheet, basis),
        rail_rules.collapse(sheet, basis, envelope),
        regulator_rules.head_room(sheet, basis, envelope),
        rail_rules.load(sheet, basis, envelope),
        rail_rules.hold_up(envelope),
        regulator_rules.stands(sheet, basis, envelope),
        regulator_rules.heat(sheet, basis, envelope),
        part_rules.detector_current(sheet, basis),
        part_rules.led_reverse(sheet, basis),
        part_rules.fast_supply(sheet, basis),
        rail_rules.sure_press(sheet, envelope),
    )


def unknown_fields(sheet: FitOut) -> Iterator[Remark]:
    """A field that is not known is not used, and perhaps mistyped."""
    for name in sheet.unknown:
        meant = nearest(name)
        text = f"{name[:60]!r} is no field of a fit-out sheet and is not used" + (
            f"; perhaps {meant} is meant." if meant else "."
        )
        yield Remark(name[:60], "doubtful", text, "fields are those of the contract", "the contract")
