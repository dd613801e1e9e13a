"""The one table at the end of a run, for people and as JSON. Computes no more than sums and shares."""

from typing import Any

from deploy.endurance.done import Done
from deploy.endurance.scoring import Score

Row = tuple[str, str, str]


def figures(found: Score, done: Done) -> dict[str, Any]:
    """All numbers by name."""
    errors = sorted(found.errors_s)
    unrecordable = sum(found.unrecordable.values())
    return {
        "made": found.made,
        "once": found.once,
        "lost": len(found.lost),
        "doubled": len(found.doubled),
        "invented": len(found.invented),
        "misdated": len(found.misdated),
        "error_p99_s": round(errors[int(len(errors) * 0.99)], 3) if errors else None,
        "error_max_s": round(errors[-1], 3) if errors else None,
        "within_uncertainty": round(found.within / len(errors), 4) if errors else None,
        "unrecordable": unrecordable,
        "covered": unrecordable - len(found.uncovered),
        "why": dict(found.unrecordable),
        "door_time_s": round(found.door_time_s, 1),
        "blind_true_s": round(found.blind_true_s, 1),
        "blind_told_s": round(found.blind_told_s, 1),
        "claimed_wrongly_s": round(found.claimed_wrongly_s, 1),
        "wrongly_by_reason_s": {why: round(s, 1) for why, s in found.wrongly_by_reason.items()},
        "untold_s": round(found.untold_s, 1),
        "service_kills": done.service_kills,
        "broker_kills": done.broker_kills,
        "service_cuts": done.service_cuts,
        "fills": done.fills,
        "fills_told": done.fills_told,
        "steps": done.steps,
        "packs": done.packs,
        "sent_again": done.sent_again,
        "duplicates": done.duplicates,
        "rubbish": done.rubbish,
        "quarantined": done.quarantined,
        "unexpected": done.unexpected,
        "starts": done.starts,
        "exits": done.exits,
        "settled": done.settled,
        "pending": done.pending,
        "troubles": done.troubles,
        "settled_s": round(done.settled_s, 1),
    }


def text(title: str, numbers: dict[str, Any], seconds: float, remarks: list[str]) -> str:
    n = numbers
    whole = n["door_time_s"] or 1.0

    def share(seconds_s: float) -> str:
        return f"{100.0 * seconds_s / whole:.2f} % of all doors' time"

    reasons = ", ".join(f"{count} {why}" for why, count in sorted(n["why"].items()))
    wrongly = ", ".join(f"{s:.0f} s {why}" for why, s in sorted(n["wrongly_by_reason_s"].items()) if s >= 1.0)
    within = (
        ""
        if n["within_uncertainty"] is None
        else f", {100 * n['within_uncertainty']:.1f} % inside the stated uncertainty"
    )
    rows: list[Row] = [
        ("presses made", str(n["made"]), f"in {n['packs']} packs"),
        ("  recorded once", str(n["once"]), ""),
        ("  lost", str(n["lost"]), ""),
        ("  doubled", str(n["doubled"]), ""),
        ("  invented", str(n["invented"]), "in the log, and nobody pressed"),
        ("  at the wrong time", str(n["misdated"]), "beyond 1 s and the stated uncertainty"),
        ("time error, p99", f"{n['error_p99_s']} s", f"largest {n['error_max_s']} s{within}"),
        ("could not be recorded", str(n["unrecordable"]), reasons),
        ("  in a blind interval", str(n["covered"]), ""),
        ("blind time, true", f"{n['blind_true_s']:.0f} s", share(n["blind_true_s"])),
        ("  told", f"{n['blind_told_s']:.0f} s", share(n["blind_told_s"])),
        (
            "  claimed wrongly",
            f"{n['claimed_wrongly_s']:.0f} s",
            f"{share(n['claimed_wrongly_s'])}{'; ' if wrongly else ''}{wrongly}",
        ),
        ("  true and not told", f"{n['untold_s']:.0f} s", share(n["untold_s"])),
        (
            "service killed",
            str(n["service_kills"]),
            f"{n['starts']} starts, {len(n['exits'])} of them ended by itself {_codes(n['exits'])}",
        ),
        ("broker killed", str(n["broker_kills"]), ""),
        ("service cut off", str(n["service_cuts"]), "from its broker"),
        ("disk filled", str(n["fills"]), f"told on the health page {n['fills_told']} times"),
        ("clock stepped", str(n["steps"]), ""),
        ("sent again", str(n["sent_again"]), f"{n['duplicates']} duplicates recognised, with those of the broker"),
        ("broken packs", str(n["rubbish"]), f"{n['quarantined']} quarantined, {n['unexpected']} not foreseen"),
        (
            "settled after",
            f"{n['settled_s']:.0f} s",
            ""
            if n["settled"]
            else f"no: {n['pending']} packs not understood; {'; '.join(n['troubles']) or 'no trouble told'}",
        ),
        ("seconds", f"{seconds:.0f}", f"{whole / 3600.0:.2f} h of all doors' time"),
    ]
    lines = [title, *(f"{label:<24}{value:>9}   {note}".rstrip() for label, value, note in rows)]
    return "\n".join([*lines, *remarks])


def _codes(exits: list[int]) -> str:
    return f"(exit codes {', '.join(map(str, sorted(set(exits))))})" if exits else ""
