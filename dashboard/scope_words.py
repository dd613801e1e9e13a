"""What a capture shows, in words: for the Bench and for the command line alike. Knows no page and judges nothing."""

from collections.abc import Mapping, Sequence
from typing import Any

from dashboard import quantities, words

WHERE = {
    "transformer": "across the transformer’s secondary",
    "terminal": "at the chime’s terminal, behind the button",
    "rectifier": "behind the rectifier, across the reservoir",
    "regulated": "on the regulated rail",
    "detector": "at the detector’s output",
}

SHAPES = {
    "full sine": "a full sine",
    "half-wave, positive": "a half-wave, upwards",
    "half-wave, negative": "a half-wave, downwards",
    "uneven sine": "a sine of which one half is weaker",
    "rectified with ripple": "a direct voltage with ripple",
    "flat": "a flat line",
    "square pulses": "square pulses",
    "none of these": "nothing that a bell circuit makes",
}

STATES = {
    "idle": "at rest",
    "test": "under the test load",
    "sounding": "while the chime sounds",
    "pressed": "while the button is pressed",
}

FIGURES = {
    "peak_v": "Highest",
    "lowest_v": "Lowest",
    "peak_to_peak_v": "Peak to peak",
    "mean_v": "Mean",
    "rms_v": "Effective value (rms)",
    "ripple_v": "Ripple, peak to peak",
    "mains_hz": "Frequency",
    "duty": "Share of the cycle above the middle",
    "rise_s": "Rise, 10 to 90 %",
    "fall_s": "Fall, 90 to 10 %",
    "pulses_per_cycle": "Pulses in a cycle",
    "pulse_s": "Length of a pulse",
}

SINE = ("full sine", "half-wave, positive", "half-wave, negative", "uneven sine")
WORTH_TELLING: dict[str, tuple[str, ...]] = {
    **dict.fromkeys(SINE, ("peak_v", "lowest_v", "mean_v", "rms_v", "mains_hz")),
    "rectified with ripple": ("peak_v", "lowest_v", "mean_v", "ripple_v", "mains_hz", "rms_v"),
    "flat": ("mean_v", "peak_to_peak_v"),
    "square pulses": ("peak_v", "lowest_v", "mains_hz", "pulses_per_cycle", "duty", "rise_s", "fall_s"),
    "none of these": ("peak_v", "lowest_v", "mean_v", "rms_v"),
}
"""By what is seen; the API has every figure."""

WITHOUT_SCALE = tuple(name for name in FIGURES if name.endswith("_v"))

BEYOND = {
    None: "Nobody said where it was taken, so nothing can be compared.",
    "transformer": "Whether the button was pressed does not show here.",
    "rectifier": "Whether the button was pressed hardly shows here: the rail rises by one diode drop.",
    "regulated": "Whether the button was pressed does not show here.",
    "terminal": "How the rail stands behind it does not show here.",
    "detector": "The voltages before it do not show here.",
}


def title_of(part: Mapping[str, Any], point: str | None) -> str:
    """As a panel's heading: At rest."""
    if part["pressed"]:
        return "Pressed" if part["pressed"] == "pressed" else "At rest"
    comparison = part["comparison"]
    if comparison and point != "detector":
        return words.sentence(f"most like {STATES[comparison['state']]}").rstrip(".")
    return words.sentence(SHAPES[part["shape"]]).rstrip(".")


def headline(answer: Mapping[str, Any]) -> str:
    """The answer in one sentence."""
    parts: Sequence[Mapping[str, Any]] = answer["stretches"]
    seen = words.sentence(", then ".join(dict.fromkeys(SHAPES[part["shape"]] for part in parts))).rstrip(".")
    where = f" {WHERE[answer['point']]}" if answer["point"] else ""
    states = [part["pressed"] for part in parts if part["pressed"]]
    pressed = f": {', then '.join(dict.fromkeys(states))}" if states else ""
    return f"{seen}{where}{pressed}."


def lead(answer: Mapping[str, Any]) -> str:
    """What qualifies it: how it compares, and how it was read."""
    told: list[str] = []
    lines = [line for part in answer["stretches"] if part["comparison"] for line in part["comparison"]["lines"]]
    off = [line for line in lines if line["verdict"] != "as predicted"]
    if lines and not off:
        told.append("All of it is as the fit-out sheet predicts.")
    elif off:
        names = words.listed(
            list(dict.fromkeys(f"{FIGURES[line['quantity']].lower()} {line['verdict']}" for line in off))
        )
        told.append(f"Other than the fit-out sheet predicts: {names}.")
    elif answer["point"]:
        told.append("There is no fit-out sheet to compare it with, or it names too little.")
    else:
        usual = [WHERE[one] for one in answer["possible_points"]]
        told.append(
            f"Such a picture is usual {' or '.join(usual)}." if usual else "No point of a bell circuit looks so."
        )
    told += answer["remarks"]
    return " ".join(told)


def rows(part: Mapping[str, Any], scaled: bool) -> list[tuple[str, str, str, str]]:
    """Quantity, measured, expected, in a word: what was compared first, then what was only measured."""
    found: list[tuple[str, str, str, str]] = []
    compared = part["comparison"]["lines"] if part["comparison"] else []
    for line in compared:
        name, span = line["quantity"], line["expected"]
        expected = quantities.between(name, span["low"], span["high"])
        if span["low"] == span["high"]:
            expected = quantities.figure(name, span["value"])
        found.append((FIGURES[name], _figure(name, line["measured"], True), expected, line["verdict"]))
    seen = {line["quantity"] for line in compared}
    for name in WORTH_TELLING[part["shape"]]:
        value = part["figures"].get(name)
        if value is not None and name not in seen:
            found.append((FIGURES[name], _figure(name, value, scaled), "", ""))
    return found


def meanings(part: Mapping[str, Any]) -> list[str]:
    lines = part["comparison"]["lines"] if part["comparison"] else []
    return list(
        dict.fromkeys(
            f"{FIGURES[line['quantity']]}, {line['verdict']}: {line['means']}".replace("'", "’")
            for line in lines
            if line["means"]
        )
    )


def beyond(answer: Mapping[str, Any]) -> list[str]:
    """What the capture cannot tell."""
    told = [BEYOND[answer["point"]]]
    if not answer["scaled"]:
        told.append("Volts: nobody said what full scale of the sound file is.")
    if not any(part["comparison"] for part in answer["stretches"]) and answer["point"]:
        told.append(
            "Whether it is right: without a fit-out sheet that names transformer and reservoir nothing is predicted."
        )
    return told


def text(answer: Mapping[str, Any], name: str) -> str:
    """For the terminal."""
    lines = [headline(answer), lead(answer), "", f"{name}, channel {answer['channel']}: {answer['samples']} samples in "
             f"{words.duration(answer['length_s'])}"]  # fmt: skip
    for part in answer["stretches"]:
        lines += ["", title_of(part, answer["point"])]
        told = rows(part, answer["scaled"])
        wide = [max(len(row[n]) for row in told) for n in range(4)] if told else [0] * 4
        for row in told:
            lines.append(
                "  "
                + "  ".join(
                    cell.ljust(wide[n]) if n == 0 else cell.rjust(wide[n]) for n, cell in enumerate(row)
                ).rstrip()
            )
        lines += [f"  {one}" for one in meanings(part)]
    lines += ["", *beyond(answer), answer["caution"]]
    return "\n".join(lines)


def _figure(name: str, value: float, scaled: bool) -> str:
    if name == "duty" or (name in WITHOUT_SCALE and not scaled):
        return f"{100 * value:.0f}{words.THIN}%".replace("-", "−")
    return quantities.figure(name, value)
