"""Examines invented installations and compares what was said with what was so. Copes with an answer that has only some parts."""

import datetime
import itertools
import json
import math
import tempfile
from collections import Counter, defaultdict
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np

Json = dict[str, Any]
QUANTITIES = ("reservoir_f", "source_ohm", "open_circuit_v", "idle_a", "sound_a", "mains_hz")
ONE_CIRCUIT = {"button-diode-shorted": "contact-stuck", "contact-stuck": "button-diode-shorted"}
# with these, pulses go on by themselves or never come: presses cannot be asked for
STANDING = {
    "button-diode-open", "button-diode-reversed", "button-diode-shorted", "contact-stuck", "lamp-in-button",
    "leak-across-button", "detector-dead",
}  # fmt: skip
MOVES_SOURCE = {"source-resistance-high", "wrong-transformer", "regulator-drops-out"}
BINS = (0.0, 0.3, 0.5, 0.7, 0.8, 0.9, 0.95, 0.98, 1.0001)


def score(
    folder: Path,
    jobs: int = 2,
    wrong: bool = False,
    first: int | None = None,
    label: str | None = None,
    change: bool = False,
) -> Json:
    """The figures of a folder that drawing.draw_cases has filled. `change`: examine the first survey by itself too, for the
    changes between the surveys as the engine sees them."""
    names = sorted(path.name.removesuffix(".truth.json") for path in folder.glob("*.truth.json"))
    truths = {name: json.loads((folder / f"{name}.truth.json").read_text()) for name in names}
    names = [name for name in names if label in (None, truths[name]["label"])][:first]
    work = [(folder, name, change) for name in names]
    if jobs == 1:
        answers = [_examine(item) for item in work]
    else:
        with ProcessPoolExecutor(jobs) as pool:
            answers = list(pool.map(_examine, work, chunksize=4))
    tally = Tally()
    for name, (answer, before, error) in zip(names, answers, strict=True):
        tally.add(name, truths[name], answer, error)
        if answer and before:
            tally.add_change(truths[name], before, answer.get("quantities") or {})
    return tally.figures(wrong)


def _examine(item: tuple[Path, str, bool]) -> tuple[Json | None, Json | None, str]:
    """The answer; the quantities of the first survey by itself, if wanted; what went wrong."""
    from service.commands import examine

    folder, name, change = item
    recording, sheet = folder / f"{name}.jsonl", folder / f"{name}.fitout.json"
    try:
        answer, before = examine(recording, sheet), None
        if change:
            with tempfile.TemporaryDirectory() as place:
                alone = Path(place) / "first.jsonl"
                lines = [json.loads(line) for line in recording.read_text().splitlines()]
                alone.write_text("".join(json.dumps(line) + "\n" for line in lines if line.pop("commissioning", False)))
                before = examine(alone, sheet).get("quantities")
    except Exception as error:  # noqa: BLE001 - a crash is a figure here; the sentence stands in the list of wrong ones
        return None, None, f"{type(error).__name__}: {error}"
    return answer, before, ""


class Tally:
    """Counts over many answers."""

    def __init__(self) -> None:
        self.label: dict[str, Counter[str]] = defaultdict(Counter)
        self.quantity: dict[str, list[tuple[float, bool] | None]] = defaultdict(list)
        self.press: Counter[str] = Counter()
        self.confusion: dict[str, Counter[str]] = defaultdict(Counter)
        self.source_change_ohm: list[float] = []
        self.healthy_change: dict[str, list[float]] = defaultdict(list)
        self.stated: list[tuple[float, bool]] = []
        self.mistakes: list[Json] = []
        self.set_aside = 0

    def add(self, name: str, truth: Json, answer: Json | None, error: str) -> None:
        label, faults = truth["label"], set(truth["faults"])
        count = self.label[label]
        count["n"] += 1
        if answer is None:
            count["crash"] += 1
            self.mistakes.append({"case": name, "label": label, "error": error})
            return
        self.set_aside += len((answer.get("packs") or {}).get("set_aside") or [])
        self._findings(name, truth, answer, label, faults, count)
        self._quantities(truth, answer)
        if not faults & STANDING:
            self._presses(truth, answer, count)

    def _findings(
        self, name: str, truth: Json, answer: Json, label: str, faults: set[str], count: Counter[str]
    ) -> None:
        found = answer.get("findings") or []
        names = [finding["name"] for finding in found]
        first = names[0] if names else None
        observable = all(truth["observable"].values())
        right = (not faults and first is None) or first in faults or ONE_CIRCUIT.get(first or "") in faults
        told = (
            set(names)
            | {ONE_CIRCUIT.get(n, n) for n in names}
            | {o for f in found for o in f.get("also_possible") or []}
        )
        count["top1"] += right
        count["observable"] += observable
        count["observable_top1"] += observable and right
        count["named"] += faults <= told
        tolerated = faults | {ONE_CIRCUIT.get(n, n) for n in faults} | set(truth["ambiguous_with"])
        count["extra"] += sum(n not in tolerated for n in names)
        if right and faults and truth["door"]:
            count["door_right"] += found[0].get("door") in (None, truth["door"])
        self.confusion[label][first or "-"] += 1
        for finding in found:
            if finding.get("likelihood") is not None:
                true = finding["name"] in faults or ONE_CIRCUIT.get(finding["name"]) in faults
                self.stated.append((float(finding["likelihood"]), true))
        if not right:
            said = [f"{f['name']} {f.get('likelihood') or math.nan:.2f}" for f in found[:3]]
            what = {"case": name, "label": label, "faults": sorted(faults), "observable": observable}
            self.mistakes.append(what | {"severity": truth["severity"], "said": said})

    def _quantities(self, truth: Json, answer: Json) -> None:
        said, now = answer.get("quantities") or {}, truth["now"]
        for key in QUANTITIES:
            value = (said.get(key) or {}).get("value")
            hidden = (key == "sound_a" and "sound" in now["dropout"]) or (key == "idle_a" and "idle" in now["dropout"])
            if value is None or hidden:
                self.quantity[key].append(None)
                continue
            low, high = said[key].get("low", -math.inf), said[key].get("high", math.inf)
            self.quantity[key].append((value / now[key] - 1.0, low <= now[key] <= high))

    def add_change(self, truth: Json, before: Json, after: Json) -> None:
        """Source resistance where nothing moved it; everything, in houses where nothing happened but half a year."""
        values = {
            key: ((before.get(key) or {}).get("value"), (after.get(key) or {}).get("value")) for key in QUANTITIES
        }
        was, is_now = values["source_ohm"]
        if was is not None and is_now is not None and not set(truth["faults"]) & MOVES_SOURCE:
            self.source_change_ohm.append(is_now - was - truth["now"]["source_ohm"] + truth["then"]["source_ohm"])
        for key, (was, is_now) in values.items():
            if truth["label"] == "healthy" and was and is_now:
                self.healthy_change[key].append(math.log(is_now / was))

    def _presses(self, truth: Json, answer: Json, count: Counter[str]) -> None:
        """A press that gave a pulse must be told once, at its door, within 60 ms; nothing may be invented. A press during
        which the chime lost its supply is neither asked for nor held against the answer."""
        asked, cut = [], []
        several = bool(truth["chime"]["garden"])
        latency = truth["latency_s"]
        for base, survey in zip(truth["bases_s"], (truth["then"], truth["now"]), strict=True):
            for p in survey["presses"]:
                start, end = base + p["start_s"] + latency, base + p["end_s"] + latency
                if not p["powered"]:
                    self.press["cut by loss of supply"] += 1
                    cut.append((start - 0.05, end + 0.15, p["door"]))
                elif p["pulses"]:
                    asked.append((start, end, p["door"]))
                else:
                    self.press["gave no pulse"] += 1
        free = [
            (_seconds(p["start"]), _seconds(p["end"] or p["start"]), p.get("door")) for p in answer.get("presses") or []
        ]
        free = [
            p
            for p in free
            if not any(p[0] < end and p[1] > start and (not several or p[2] == door) for start, end, door in cut)
        ]
        for start, end, door in asked:
            hit = [
                p for p in free if abs(p[0] - start) < 0.06 and abs(p[1] - end) < 0.08 and (not several or p[2] == door)
            ]
            self.press["expected"] += 1
            if hit:
                self.press["found"] += 1
                free.remove(hit[0])
            else:
                count["press_missed"] += 1
        self.press["invented"] += len(free)
        count["press_invented"] += len(free)

    def figures(self, wrong: bool) -> Json:
        total: Counter[str] = Counter()
        for count in self.label.values():
            total.update(count)
        n, healthy = max(total["n"], 1), self.label["healthy"]
        change = [abs(x) for x in self.source_change_ohm]
        result: Json = {
            "n": total["n"],
            "top1": round(total["top1"] / n, 4),
            "top1_observable": round(total["observable_top1"] / max(total["observable"], 1), 4),
            "all_named": round(total["named"] / n, 4),
            "false_on_healthy": f"{healthy['n'] - healthy['top1']}/{healthy['n']}",
            "extra_findings_per_case": round(total["extra"] / n, 3),
            "crashes": total["crash"],
            "packs_set_aside": self.set_aside,
            "quantities": {key: _spread_of(values) for key, values in self.quantity.items()},
            "change_of_source_ohm_error": {
                "n": len(change),
                "p50": _percentile(change, 50),
                "p95": _percentile(change, 95),
            },
            "healthy_change_sd": {key: round(float(np.std(values)), 4) for key, values in self.healthy_change.items()},
            "presses": dict(self.press),
            "per_label": {key: dict(count) for key, count in sorted(self.label.items())},
            "confusion": {key: dict(count.most_common()) for key, count in sorted(self.confusion.items())},
            "likelihoods": self._likelihoods(),
        }
        if wrong:
            result["wrong"] = self.mistakes
        return result

    def _likelihoods(self) -> list[Json]:
        bins = []
        for low, high in itertools.pairwise(BINS):
            inside = [(stated, true) for stated, true in self.stated if low <= stated < high]
            if inside:
                mean = sum(stated for stated, _ in inside) / len(inside)
                right = sum(true for _, true in inside) / len(inside)
                bins.append({"from": low, "n": len(inside), "stated": round(mean, 3), "right": round(right, 3)})
        return bins


def _spread_of(values: list[tuple[float, bool] | None]) -> Json:
    given = [value for value in values if value is not None]
    errors = [error for error, _ in given]
    return {
        "n": len(values),
        "given": len(given),
        "bias_pct": _percentile([100 * error for error in errors], 50),
        "p50_pct": _percentile([100 * abs(error) for error in errors], 50),
        "p95_pct": _percentile([100 * abs(error) for error in errors], 95),
        "interval_holds": round(sum(holds for _, holds in given) / len(given), 3) if given else None,
    }


def _percentile(values: list[float], percent: float) -> float | None:
    return round(float(np.percentile(values, percent)), 3) if values else None


def _seconds(text: str) -> float:
    return datetime.datetime.fromisoformat(text.replace("Z", "+00:00")).timestamp()
