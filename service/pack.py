"""Packs of the chime contract: bytes to `model.Pack`, whole or refused with the reason.

One pass over the resolved records; what each may say stands in `contract.RULES`. Refuses to know where a pack came from,
what time its moments are by the wall, and what it means.
"""

import re
from typing import Any

import numpy as np

from service import contract, model, senml
from service.contract import EARLIEST_S, LATEST_S, NO_VALUE, OF_DOOR, OF_PACK, TICK_S, Rule, check
from service.errors import BadPack

_LEB128_LIMIT = 6  # bytes of one number: 42 bits of 100 us are 14 years
_SHOWN = 80  # characters of somebody else's text that a reason may carry
_DEVICE_NAME = re.compile(r"(urn:dev:[^_]*_)")

_Parts = dict[str, Any]
_Groups = dict[tuple[str, str, float], _Parts]


def decode(payload: bytes, content_type: str | None, received_s: float) -> model.Pack:
    """What a pack says. Raises BadPack, and nothing else, for any bytes that break the contract.

    Parameters
    ----------
    payload : a SenML pack, JSON or CBOR.
    content_type : as MQTT 5 or HTTP gave it; None: told by the first byte.
    received_s : arrival [POSIX s]; serves absolute times of a chime that sends no `clock`.
    """
    version, base_name, records = senml.resolve(payload, content_type)
    if version not in contract.VERSIONS:
        raise BadPack(f"SenML version {version}; the contract has {contract.VERSIONS[0]} and {contract.VERSIONS[1]}")
    if not records:
        raise BadPack("a pack without records")
    prefix = _prefix(base_name, records[0].name)
    device = contract.device_of(prefix) if prefix else None
    filler, start = _Filler(records, prefix, received_s), len(prefix)
    for record in records:
        if not record.name.startswith(prefix):
            raise BadPack(f"a second base name; a pack has one, here {prefix[:_SHOWN]}", record.name[:_SHOWN])
        filler.add(record.name[start:], record)
    return filler.pack(version, device)


def _prefix(base_name: str | None, first_name: str) -> str:
    """What stands before the names of the contract. Base name and name may have been sent in one (RFC 8428 §4.6)."""
    if base_name is not None:
        return base_name
    found = _DEVICE_NAME.match(first_name)
    return found[1] if found else ""


class _Filler:
    """A pack in the making."""

    def __init__(self, records: list[senml.Record], prefix: str, received_s: float) -> None:
        self._records, self._clock, self._received_s = records, prefix + "clock", received_s
        self._scalars: dict[str, tuple[float, Any]] = {}  # field of the pack -> moment, value
        self._settings: dict[str, float] = {}  # what all waveforms need
        self._groups: _Groups = {}  # field, key, moment -> parts of one value
        self._lists: dict[str, list[Any]] = {}  # field -> values
        self._waves: list[tuple[Rule, float, bytes]] = []
        self._unknown: dict[str, None] = {}

    def add(self, name: str, record: senml.Record) -> None:
        rule, door = OF_PACK.get(name), ""
        if rule is None:
            door, _, last = name.rpartition(".")
            rule = OF_DOOR.get(last)
            if rule is None or not door or door.partition(".")[0] in contract.RESERVED:
                self._unknown[name] = None
                return
            if not contract.DOOR.fullmatch(door):
                raise BadPack(f"door {door[:_SHOWN]!r} is not 1 to 16 of a-z and 0-9", name[:_SHOWN])
        value = check(rule, name, record.value, record.unit)
        moment = record.time if record.time < senml.RELATIVE_BELOW_S else record.time - self._made_s()
        if not EARLIEST_S <= moment <= LATEST_S:
            raise BadPack(_not_then(moment), name)
        self._place(rule, door, moment, value, name)

    def _made_s(self) -> float:
        """When the pack was put together, on the clock that its absolute times were read from [POSIX s]."""
        for record in self._records:
            if record.name == self._clock and type(record.value) in (int, float):
                return float(record.value)  # type: ignore[arg-type]
        return self._received_s

    def _place(self, rule: Rule, door: str, moment: float, value: Any, name: str) -> None:
        field = rule.goes_to
        if field in _GROUPED:
            parts = self._groups.setdefault((field, door or rule.key, moment), {})
            if rule.part in parts:
                raise BadPack("stands twice at the same moment", name)
            parts[rule.part] = value
        elif field == "waveform":
            if rule.part in self._settings:
                raise BadPack("stands twice in one pack", name)
            self._settings[rule.part] = value
        elif field == "waveforms":
            self._waves.append((rule, moment, value))
        elif field == "pulse_trains":
            self._lists.setdefault(field, []).append(model.PulseTrain(door, pulses_of(value, moment, name)))
        elif field == "contact_changes":
            self._lists.setdefault(field, []).append(model.ContactChange(door, moment, value))
        elif field == "load_changes":
            self._lists.setdefault(field, []).append(model.LoadChange(moment, value))
        elif rule.kind == "flag":
            self._lists.setdefault(field, []).append(model.Switch(moment, value))
        else:
            self._place_scalar(rule, moment, value, name)

    def _place_scalar(self, rule: Rule, moment: float, value: Any, name: str) -> None:
        """One value for the whole pack; of several, at different moments, the latest."""
        before = self._scalars.get(rule.goes_to)
        if before is not None and (not rule.repeats or before[0] == moment):
            raise BadPack("stands twice in one pack" if not rule.repeats else "stands twice at the same moment", name)
        if before is None or before[0] < moment:
            self._scalars[rule.goes_to] = (moment, value)

    def pack(self, version: int, device: str | None) -> model.Pack:
        fields: dict[str, Any] = {field: value for field, (_, value) in self._scalars.items()}
        if "test_load_a" in fields and "test_load_ohm" in fields:
            raise BadPack(
                "load.test and load.test.ohm in one pack; the test load is a current or a resistor", "load.test"
            )
        for field, values in self._lists.items():
            fields[field] = tuple(values)
        grouped: dict[str, list[Any]] = {}
        for (field, key, moment), parts in self._groups.items():
            value = _GROUPED[field](key, moment, parts)
            if value is not None:
                grouped.setdefault(field, []).append(value)
        for field, values in grouped.items():
            fields[field] = tuple(values)
        if self._waves:
            fields["waveforms"] = tuple(self._waveform(*wave) for wave in self._waves)
        return model.Pack(version=version, device=device, unknown=tuple(self._unknown), **fields)

    def _waveform(self, rule: Rule, moment: float, codes: bytes) -> model.Waveform:
        lsb_v = self._settings.get("lsb_v")
        needed = "cycle_s" if rule.key in ("peaks", "troughs") else "rate_hz"
        pace = self._settings.get(needed)
        if lsb_v is None or pace is None:
            missing = "rail.lsb" if lsb_v is None else "rail." + needed.partition("_")[0]
            raise BadPack(f"samples without {missing}, which must stand in the same pack", rule.name)
        rate_hz = 1.0 / pace if needed == "cycle_s" else pace
        if not codes or len(codes) % 2:
            raise BadPack(f"{len(codes)} bytes; samples are little-endian int16, at least one", rule.name)
        taken = np.frombuffer(codes, "<i2")
        end = moment + (len(taken) - 1) / rate_hz
        if end > LATEST_S:
            raise BadPack(_not_then(end), rule.name)
        taken = taken[taken != NO_VALUE]
        low, high = contract.RAIL_V
        if taken.size and not (low <= taken.min() * lsb_v and taken.max() * lsb_v <= high):
            said = f"samples from {taken.min() * lsb_v:g} to {taken.max() * lsb_v:g} V"
            raise BadPack(f"{said} are outside {low:g} to {high:g} V, where a bell's rail can be", rule.name)
        return model.Waveform(rule.key, moment, rate_hz, lsb_v, codes)  # type: ignore[arg-type]  # the key is one by table


def _not_then(moment: float) -> str:
    where = f"{moment:g} s after" if moment > 0 else f"{-moment / 86400:.1f} days before"
    limits = f"at most {LATEST_S:g} s after and {-EARLIEST_S / 86400:g} days before"
    return f"a moment {where} the pack was put together; the contract has {limits}"


def pulses_of(data: bytes, moment: float, name: str = "edges") -> tuple[tuple[float, float], ...]:
    """Pulses of a `<door>.edges` record: (rise, fall) in seconds after the pack was made, as its `t` is.

    A rise without a width is refused: the chime sends a train when its last pulse has ended.

    >>> [(round(rise, 4), round(fall, 4)) for rise, fall in pulses_of(bytes.fromhex("00557355"), -1.0)]
    [(-1.0, -0.9915), (-0.98, -0.9715)]
    """
    steps, number, shift = [], 0, 0
    for octet in data:
        number |= (octet & 0x7F) << shift
        if octet < 0x80:
            steps.append(number)
            number = shift = 0
        elif shift == 7 * (_LEB128_LIMIT - 1):
            raise BadPack(f"a LEB128 number of more than {_LEB128_LIMIT} bytes", name)
        else:
            shift += 7
    if shift:
        raise BadPack("ends in the middle of a LEB128 number", name)
    if not steps or len(steps) % 2:
        raise BadPack(f"{len(steps)} numbers; each pulse has two, the time to its rise and its width", name)
    ticks, pulses = 0, []
    for wait, width in zip(steps[::2], steps[1::2], strict=True):
        rise = ticks + wait
        ticks = rise + width
        pulses.append((moment + rise * TICK_S, moment + ticks * TICK_S))
    if pulses[-1][1] > LATEST_S:
        raise BadPack(_not_then(pulses[-1][1]), name)
    return tuple(pulses)


def _rail_window(_: str, moment: float, parts: _Parts) -> model.RailWindow | None:
    return model.RailWindow(moment, **parts) if parts.keys() != {"window_s"} else None


def _rail_rise(_: str, moment: float, parts: _Parts) -> model.RailRise:
    if "rise_v" not in parts:
        raise BadPack("stands without rail.rise at the same moment", "rail.rise.span")
    return model.RailRise(moment, **parts)


def _press_summary(door: str, moment: float, parts: _Parts) -> model.PressSummary:
    if "span_s" not in parts:
        raise BadPack(f"a summary without {door}.span at the same moment", door)
    return model.PressSummary(door, moment, **parts)


def _burst_figures(kind: str, moment: float, parts: _Parts) -> model.BurstFigures:
    return model.BurstFigures(kind, moment, **parts)  # type: ignore[arg-type]  # the key is one by table


_GROUPED = {
    "rail_windows": _rail_window,
    "rail_rises": _rail_rise,
    "press_summaries": _press_summary,
    "burst_figures": _burst_figures,
}
