"""Packs and recordings from what a chime has to tell, as the contract has it. Written apart from the service's own reading.

Three levels: `bursts` tells everything; `figures` tells bursts in four numbers; `windows` only rail windows and presses.
"""

import base64
import math
from collections.abc import Iterator
from typing import Any

import numpy as np

from deploy.calibration.chime import Codes, Told, cycles
from deploy.calibration.parts import Draw, House

LEVELS = ("bursts", "figures", "windows")
TOPIC = "bellcrank/1/tern-cottage/hall/pack"
DEVICE = "urn:dev:mac:0024befffe804ff1_"
PACK_S = 2.0
TICK_S = 1e-4
JOIN_S = 0.075  # pulses closer than this are one press to a chime that debounces
Record = dict[str, Any]


def recording(
    draw: Draw, house: House, told: Told, level: str, base_s: float, boot: int, latency_s: float, commissioning: bool
) -> list[Record]:
    """The lines of one survey. Device time 0 is `base_s`."""
    lines = []
    lsb_v = house.full_scale_v / 2**house.bits
    for number, (on, off) in enumerate(told.powered):
        queue: list[tuple[float, list[Record]]] = [(min(on + 0.001, off), [{"n": "boot.cause", "vs": "power-on"}])]
        queue += _bursts(draw, house, told, level, lsb_v, on, off)
        queue += _rail(house, told, level, lsb_v, on, off)
        for door, pulses in told.edges.items():
            mine = [pulse for pulse in pulses if on - 1e-6 <= pulse[0] <= off + 1e-6]
            queue += _presses(door, mine, off) if level == "windows" else _edges(door, mine, off)
        last_s = 0.0
        for seq, (at, records) in enumerate(sorted(queue, key=lambda item: item[0])):
            pack = [
                {"bn": DEVICE, "n": "boot", "u": "count", "v": boot + number},
                {"n": "seq", "u": "count", "v": seq},
                {"n": "up", "u": "s", "v": round(at - on, 4)},
                *({**r, "t": round(r["t"] - at, 4)} if "t" in r else r for r in records),
            ]
            last_s = max(base_s + at + latency_s + float(draw.exponential(0.004)), last_s)
            line: Record = {"at": round(last_s, 4), "topic": TOPIC, "pack": pack}
            lines.append(line | ({"commissioning": True} if commissioning else {}))
    return lines


def _bursts(
    draw: Draw, house: House, told: Told, level: str, lsb_v: float, on: float, off: float
) -> Iterator[tuple[float, list[Record]]]:
    mine = {
        name: burst
        for name, burst in told.bursts.items()
        if on - 1e-6 <= burst[0] <= off + 1e-6 and burst[1].max() >= 0
    }
    if not mine or level == "windows":
        return
    test = (
        {"n": "load.test.ohm", "u": "Ohm", "v": house.test_ohm}
        if house.test_ohm
        else {"n": "load.test", "u": "A", "v": house.test_a}
    )
    end = max(start + len(codes) / house.rate_hz for start, codes in mine.values())
    records: list[Record] = [test]
    if level == "bursts":
        records = [{"n": "rail.rate", "u": "Hz", "v": house.rate_hz}, {"n": "rail.lsb", "u": "V", "v": lsb_v}, test]
        records += [
            {"n": f"rail.burst.{name}", "t": start, "vd": _int16(codes)} for name, (start, codes) in mine.items()
        ]
    else:
        for name, (start, codes) in mine.items():
            figures = {} if name == "step" else four_figures(codes, house.rate_hz, house.nominal_hz)
            units = {"fall": "V/s"}
            records += [
                {"n": f"rail.{name}.{what}", "t": start, "u": units.get(what, "V"), "v": round(code * lsb_v, 4)}
                for what, code in figures.items()
            ]
        records.append({"n": "mains", "u": "Hz", "v": round(house.nominal_hz + draw.normal(0, 0.03), 3)})
    yield min(end + 0.01, off), records


def four_figures(codes: Codes, rate_hz: float, mains_hz: float) -> dict[str, float]:
    """Mean cycle maximum and minimum, mean, and the steady fall between charges, in codes (and codes a second)."""
    per = rate_hz / mains_hz
    series = np.where(codes >= 0, codes, np.nan).astype(float)
    spans = [series[math.ceil(k * per) : math.ceil((k + 1) * per)] for k in range(int(len(series) / per))]
    spans = [span for span in spans if np.isfinite(span).sum() > 0.6 * per]
    if len(spans) < 3:
        return {}
    falls = []
    whole = np.arange(len(series)) / rate_hz
    top = int(np.nanargmax(spans[0]))
    for k in range(len(spans) - 1):
        part = slice(math.ceil(k * per + top + 0.15 * per), math.floor(k * per + top + 0.75 * per))
        t, v = whole[part], series[part]
        good = np.isfinite(v)
        if good.sum() >= 3:
            falls.append(-float(np.polyfit(t[good], v[good], 1)[0]))
    figures = {
        "max": float(np.mean([np.nanmax(s) for s in spans])),
        "min": float(np.mean([np.nanmin(s) for s in spans])),
        "mean": float(np.mean([np.nanmean(s) for s in spans])),
    }
    return figures | ({"fall": max(float(np.median(falls)), 0.0)} if falls else {})


def _rail(
    house: House, told: Told, level: str, lsb_v: float, on: float, off: float
) -> Iterator[tuple[float, list[Record]]]:
    start = on
    while start < off - 1e-6:
        end = min(start + PACK_S, off)
        state = [load for at, load in told.log if at <= start + 1e-9][-1]
        log = [{"n": "load.log", "t": start, "vs": state}]
        log += [{"n": "load.log", "t": at, "vs": load} for at, load in told.log if start + 1e-9 < at < end]
        if level == "bursts":
            spacing = {"n": "rail.cycle", "u": "s", "v": 1.0 / house.nominal_hz}
            records: list[Record] = [{"n": "rail.lsb", "u": "V", "v": lsb_v}, spacing, *log]
            highest, lowest = cycles(house, told, start, end)
            if highest.size:
                records += [
                    {"n": "rail.peaks", "t": start, "vd": _int16(highest)},
                    {"n": "rail.troughs", "t": start, "vd": _int16(lowest)},
                ]
        else:
            records = log if level == "figures" else []
            inside = told.trace[math.ceil(start * 1000) : math.floor(end * 1000)]
            inside = inside[inside >= 0]
            if inside.size:
                three = {"mean": inside.mean(), "min": inside.min(), "max": inside.max()}
                records += [
                    {"n": f"rail.{name}", "u": "V", "v": round(float(code) * lsb_v, 4)} for name, code in three.items()
                ]
                records.append({"n": "rail.window", "u": "s", "v": round(end - start, 4)})
        if records:
            yield end, records
        start = end


def _edges(door: str, pulses: list[tuple[float, float]], off: float) -> Iterator[tuple[float, list[Record]]]:
    for run in _runs(pulses, 0.5):
        last, raw = round(run[0][0] / TICK_S), b""
        for rise, fall in run:
            r, f = round(rise / TICK_S), round(fall / TICK_S)
            raw += _leb128(max(r - last, 0)) + _leb128(max(f - max(r, last), 0))
            last = max(f, last)
        yield min(run[-1][1] + 0.6, off), [{"n": f"{door}.edges", "t": run[0][0], "vd": _base64(raw)}]


def _presses(door: str, pulses: list[tuple[float, float]], off: float) -> Iterator[tuple[float, list[Record]]]:
    for run in _runs(pulses, JOIN_S):
        start, end = run[0][0], run[-1][1]
        records = [{"n": f"{door}.press", "t": start, "vb": True}, {"n": f"{door}.press", "t": end, "vb": False}]
        yield min(end + 0.1, off), records


def _runs(pulses: list[tuple[float, float]], gap_s: float) -> list[list[tuple[float, float]]]:
    runs: list[list[tuple[float, float]]] = []
    for pulse in pulses:
        if runs and pulse[0] - runs[-1][-1][1] < gap_s:
            runs[-1].append(pulse)
        else:
            runs.append([pulse])
    return runs


def _base64(raw: bytes) -> str:
    return base64.urlsafe_b64encode(raw).rstrip(b"=").decode()


def _int16(codes: Codes) -> str:
    return _base64(codes.astype("<i2").tobytes())


def _leb128(number: int) -> bytes:
    """Unsigned LEB128 (DWARF 5, section 7.6)."""
    out = bytearray()
    while True:
        out.append((number & 127) | (128 if number > 127 else 0))
        number >>= 7
        if not number:
            return bytes(out)
