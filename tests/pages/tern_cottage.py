"""Tern Cottage, an invented house with doors `front` and `garden` and a chime `hall`. Times are London time."""

import math
import struct

from service import model
from service.finding_ports import Examination
from service.findings.life import Held, State
from service.findings.verdict import EvidenceLine, Finding
from service.health import Health
from tests.pages.lists import CHIME, LONDON, NOW_S, SITE, Record, at


def empty_house(first_heard: str = "25 Nov 2026 10.05") -> Record:
    """A claimed chime with two doors that nobody has rung yet."""
    record = Record()
    first_s = at(first_heard)
    record.chime_list.append(
        model.Chime(SITE, CHIME, True, None, first_s, NOW_S - 20, True, first_s, ("presses", "exactly-once", "supply"))
    )
    record.door_list += [
        model.Door(SITE, CHIME, "front", "Front", first_s),
        model.Door(SITE, CHIME, "garden", "Garden", first_s),
    ]
    return record


def usual_house() -> Record:
    """Two visits since 07.52, one doubtful press, one unseen, the power off from 11.08 to 13.00; six days before it."""
    record = empty_house("12 Mar 2026 09.00")
    record.looks[SITE, "anybody"] = at("25 Nov 2026 07.52")
    record.rang("front", "25 Nov 2026 09.14", (0.3, 0.4))
    record.blind("25 Nov 2026 11.08", "25 Nov 2026 13.00")
    record.boot_list.append(model.Boot(SITE, CHIME, 41, "power-on", at("25 Nov 2026 13.00"), NOW_S))
    record.rang("garden", "25 Nov 2026 14.36", (0.038,), doubtful=True, sounds=False)
    record.rang("front", "25 Nov 2026 16.47", (0.3, 0.4, 0.35), every_s=11.8)
    record.sound(at("25 Nov 2026 17.32"))
    for door, when, presses in (
        ("front", "24 Nov 2026 08.05", 1),
        ("front", "24 Nov 2026 10.42", 2),
        ("garden", "24 Nov 2026 13.20", 1),
        ("front", "24 Nov 2026 17.55", 1),
        ("front", "23 Nov 2026 09.30", 1),
        ("front", "23 Nov 2026 16.10", 2),
        ("garden", "22 Nov 2026 11.15", 2),
        ("garden", "22 Nov 2026 11.47", 1),
        ("front", "22 Nov 2026 15.01", 1),
        ("front", "21 Nov 2026 09.04", 2),
        ("front", "21 Nov 2026 10.25", 1),
        ("garden", "21 Nov 2026 12.50", 1),
        ("front", "21 Nov 2026 14.30", 3),
        ("front", "21 Nov 2026 18.40", 1),
        ("front", "20 Nov 2026 07.50", 1),
        ("front", "19 Nov 2026 10.10", 1),
        ("front", "19 Nov 2026 16.25", 2),
    ):
        record.rang(door, when, (0.3,) * presses)
    record.rang("front", "20 Nov 2026 12.34", (0.02,), doubtful=True, sounds=False)
    record.blind("22 Nov 2026 02.00", "22 Nov 2026 03.10")
    return record


def with_supply(record: Record, days: float = 30.0) -> Record:
    """Invented windows of five minutes: a slow daily swing, a dip while sounding, nothing while blind."""
    sounding = sorted(s.start_s for s in record.sounding_list)
    moment_s = NOW_S - 20 - days * 86400
    while moment_s <= NOW_S - 20:
        if not any(b.start_s < moment_s < (b.end_s or NOW_S) for b in record.blind_list):
            mean = 14.2 + 0.12 * math.sin(moment_s / 13751) + 0.05 * math.sin(moment_s / 1201)
            low = 9.32 + 0.05 * math.sin(moment_s) if any(moment_s - 300 < s <= moment_s for s in sounding) else None
            record.point_list.append(
                model.SupplyPoint(
                    moment_s - 300,
                    moment_s,
                    5,
                    mean,
                    mean - 0.31,
                    mean + 0.34,
                    low,
                    3.29,
                    19.5 + math.sin(moment_s / 13751),
                    -96.0,
                )
            )
        moment_s += 300
    record.burst_list += [
        burst("idle", at("25 Nov 2026 17.30"), 14.2, 0.36),
        burst("sound", at("25 Nov 2026 17.32"), 10.1, 1.43),
    ]
    return record


def with_findings(record: Record) -> Record:
    """An aged reservoir, confirmed, and a stuck contact that looks like a shorted diode, found once this morning."""
    aged = Finding(
        "reservoir-aged",
        0.93,
        since_s=at("2 Sep 2026 03.31"),
        evidence=(
            EvidenceLine("reservoir_f", 3.1e-4, 3.0e-4, 3.2e-4, 4.7e-4),
            EvidenceLine("ripple_v", 0.92, 0.9, 0.94, 0.6),
        ),
    )
    stuck = Finding(
        "button-diode-shorted",
        0.62,
        "front",
        also_possible=("contact-stuck",),
        evidence=(EvidenceLine("pulses_per_cycle", 0.98),),
    )
    raised_s, looked_s = at("3 Sep 2026 03.31"), at("25 Nov 2026 18.02")
    record.finding_list += [
        Held(7, SITE, CHIME, aged, State.CONFIRMED, raised_s, looked_s),
        Held(9, SITE, CHIME, stuck, State.RAISED, at("25 Nov 2026 09.16"), looked_s),
    ]
    missing = ("The fit-out sheet has no dropout_v: headroom cannot be told.",)
    record.examination_list.append(Examination(SITE, CHIME, looked_s, 4711, looked_s - 60, looked_s - 600, missing))
    return record


def burst(
    kind: model.WaveformKind, start_s: float, mean_v: float, ripple_v: float, mains_hz: float = 50.0
) -> model.Burst:
    """An invented rail burst at 2 kHz: a quick rise once per cycle, then a straight fall; one sample missing."""
    codes = []
    for n in range(400):
        phase = (n / 2000 * mains_hz) % 1.0
        shape = phase / 0.2 if phase < 0.2 else 1 - (phase - 0.2) / 0.8
        codes.append(-32768 if n == 333 else round((mean_v + ripple_v * (shape - 0.5)) / 0.005))
    return model.Burst(kind, start_s, 2000.0, 0.005, struct.pack(f"<{len(codes)}h", *codes))


def health() -> Health:
    return Health("0.1.0", at("25 Nov 2026 10.05"), "127.0.0.1:7433", broker="127.0.0.1:1883", broker_connected=True)


__all__ = ["LONDON", "NOW_S", "Record", "at", "empty_house", "health", "usual_house", "with_findings", "with_supply"]
