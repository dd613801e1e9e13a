"""Promise: a supply stands in the plane of reservoir and source resistance where it was measured, and its distance to the limit is told."""

import re
from dataclasses import replace

import pytest

from dashboard import plane, plane_words
from service.finding_ports import KeptSheet, QuantityPoint
from service.findings import standing_room
from service.findings.standing_room import Floats, Seen, seen
from service.findings.verdict import Measured
from service.supply.boundary import limit_curve
from service.supply.fitout import FitOut, read_fitout
from service.supply.rectifier import Supply, steady_state
from service.supply.unknowns import DROP_SHIFT_V
from tests.pages.conftest import Opened
from tests.pages.tern_cottage import NOW_S, usual_house, with_findings, with_supply

SHEET = read_fitout('{"mains_hz": 50, "transformer_v": 12, "transformer_va": 8, "regulator_v": 5.0, "dropout_v": 7.0}')
THEN = {"reservoir_f": Measured(1e-3, 9.7e-4, 1.03e-3), "source_ohm": Measured(5.7, 5.4, 6.0)}
NOW = {
    "reservoir_f": Measured(4.7e-4, 4.6e-4, 4.8e-4), "source_ohm": Measured(5.8, 5.5, 6.1), "open_circuit_v": Measured(14.4, 14.2, 14.6),
    "mains_hz": Measured(50.0, 49.9, 50.1), "idle_a": Measured(8e-3, 7e-3, 9e-3), "sound_a": Measured(0.12, 0.11, 0.13),
}  # fmt: skip


TRACK = [(8e-4, 5.7), (6e-4, 5.75)]


def shown(now: dict[str, Measured] = NOW, sheet: FitOut = SHEET) -> Seen:
    found = seen(now, THEN, TRACK, sheet)
    assert found is not None
    return found


BASELINE = 4.0  # a numeral stands so much below its line [px]


def places(drawn: str, class_: str) -> list[tuple[float, float]]:
    return [
        (float(x), float(y)) for x, y in re.findall(rf'<circle class="{class_}" cx="([\d.]+)" cy="([\d.]+)"', drawn)
    ]


def scale(drawn: str, side: str) -> dict[float, float]:
    """Where each numeral of the bottom ("middle") or of the side ("end") stands."""
    found = re.findall(
        rf'<text class="numeral"[^>]*x="([\d.]+)" y="([\d.]+)"[^>]*text-anchor="{side}"[^>]*>([^<]+)<', drawn
    )
    return {float(text): float(x) if side == "middle" else float(y) - BASELINE for x, y, text in found}


def test_it_stands_where_it_was_measured() -> None:
    """By the numerals of the scales."""
    drawn = str(plane.draw(shown()))
    across, up = scale(drawn, "middle"), scale(drawn, "end")
    *track, now = places(drawn, "dot")
    (low_f, *_, high_f), (low_o, *_, high_o) = sorted(across), sorted(up)

    def farad(x: float) -> float:
        return low_f + (x - across[low_f]) / (across[high_f] - across[low_f]) * (high_f - low_f)

    def ohm(y: float) -> float:
        return low_o + (y - up[low_o]) / (up[high_o] - up[low_o]) * (high_o - low_o)

    assert (farad(now[0]), ohm(now[1])) == pytest.approx((470.0, 5.8), rel=0.01)
    assert [farad(x) for x, _ in track] == pytest.approx([800.0, 600.0], rel=0.01)
    begun = [float(x) for x in re.findall(r'<line class="begun" x1="([\d.]+)"', drawn)]
    assert farad(sum(begun) / 2) == pytest.approx(1000.0, rel=0.01)


def test_the_distance_is_told_both_ways() -> None:
    told = plane_words.told(shown()).replace("\u202f", " ")
    assert told.startswith(
        "Now 470 µF and 5.80 Ω; as commissioned 1000 µF and 5.70 Ω. While it sounds the rail stays above 7.0 V down to "
    )
    least, most = (float(figure) for figure in re.findall(r"down to ([\d.]+) µF, or up to ([\d.]+) Ω", told)[0])
    circuit = Supply(50.0, 14.4, 5.8, 1e-6 * least, 0.12, drop_shift_v=DROP_SHIFT_V)
    assert steady_state(circuit).rail_min_v == pytest.approx(7.0, rel=0.01)
    circuit = Supply(50.0, 14.4, most, 4.7e-4, 0.12, drop_shift_v=DROP_SHIFT_V)
    assert steady_state(circuit).rail_min_v == pytest.approx(7.0, rel=0.01)


def test_beyond_the_limit_is_told_as_that() -> None:
    worn = NOW | {"reservoir_f": Measured(1.5e-4, 1.4e-4, 1.6e-4)}
    assert "That is beyond the limit: while it sounds the rail falls below 7.0" in plane_words.told(shown(worn))


def test_without_a_sounding_current_the_chime_at_rest_is_the_load() -> None:
    still = {name: one for name, one in NOW.items() if name != "sound_a"}
    assert "At rest the rail stays above" in plane_words.told(shown(still))


def test_without_a_drop_out_there_is_no_limit() -> None:
    found = shown(sheet=FitOut())
    assert found.limit is None
    assert 'class="limit"' not in str(plane.draw(found))
    assert plane_words.told(found).count(".") == 3  # two decimal points and the end


def test_where_no_reservoir_bears_the_load_that_is_beyond_the_limit() -> None:
    low = NOW | {"open_circuit_v": Measured(5.0, 4.9, 5.1)}
    assert "That is beyond the limit" in plane_words.told(shown(low))
    assert 'class="limit"' not in str(plane.draw(shown(low)))


def test_its_uprights_hold_the_interval_both_ways() -> None:
    drawn = str(plane.draw(shown()))
    across, up = scale(drawn, "middle"), scale(drawn, "end")
    number = r"([\d.]+)"
    found = re.findall(rf'<line class="upright" x1="{number}" y1="{number}" x2="{number}" y2="{number}"', drawn)
    uprights = [[float(one) for one in ends] for ends in found]
    per_farad, per_ohm = (across[1000.0] - across[0.0]) / 1000.0, (up[0.0] - up[5.0]) / 5.0
    standing = sorted((x1 - across[0.0]) / per_farad for x1, _, x2, _ in uprights if x1 == x2)
    lying = sorted((up[0.0] - y1) / per_ohm for _, y1, _, y2 in uprights if y1 == y2)
    assert standing == pytest.approx([460.0, 480.0], rel=0.005)
    assert lying == pytest.approx([5.5, 6.1], rel=0.01)


def test_readers_have_all_that_is_drawn() -> None:
    rated = replace(SHEET, reservoir_f=1e-3)
    told = [[cell.replace("\u202f", " ") for cell in row.cells] for row in plane_words.table(shown(sheet=rated)).rows]
    assert told[0] == [
        "Now",
        "470 µF, nine times in ten 460 to 480 µF",
        "5.80 Ω, nine times in ten 5.50 to 6.10 Ω",
    ]
    assert told[1:5] == [
        ["When commissioned", "1000 µF", "5.70 Ω"],
        ["Survey 1 since", "800 µF", "5.70 Ω"],
        ["Survey 2 since", "600 µF", "5.75 Ω"],
        ["As rated", "1000 µF", "–"],
    ]
    assert [row[0] for row in told[5:]] == ["The limit"] * 5


def test_a_survey_that_is_looked_at_again_is_not_solved_again(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nor where other surveys stand between."""
    asked: list[float] = []

    def counted(supply: Supply, most_f: float) -> tuple[Floats, Floats]:
        asked.append(most_f)
        return limit_curve(supply, most_f)

    standing_room._solved.cache_clear()
    monkeypatch.setattr(standing_room, "limit_curve", counted)
    first = shown()
    assert shown() == first
    assert seen(NOW, THEN, TRACK[:1], SHEET) is not None
    assert len(asked) == 1
    shown(NOW | {"sound_a": Measured(0.13, 0.12, 0.14)})
    assert len(asked) == 2


def test_nothing_to_be_seen_beside_is_not_drawn() -> None:
    assert seen(NOW, {}, (), FitOut()) is None
    assert seen({"idle_a": NOW["idle_a"]}, THEN, (), SHEET) is None


def test_a_finding_about_the_supply_has_it_and_one_about_a_button_has_not(opened: Opened) -> None:
    record = with_findings(with_supply(usual_house()))
    record.quantity_list = [QuantityPoint(name, NOW_S - 60.0, one) for name, one in NOW.items()]
    record.sheet_list = [
        KeptSheet(NOW_S - 1e6, "Ann", {"transformer_v": 12.0, "transformer_va": 8.0, "dropout_v": 7.0})
    ]
    assert len(record.finding_list) > 1
    page = opened(record).get("/house/tern-cottage/supply").text
    assert page.count('class="drawing departures plane"') == 1
