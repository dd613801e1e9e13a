"""Promise: a mapping file makes packs of the contract out of what another chime says, honestly, or is refused with line and column.

Topic filters: MQTT 3.1.1, section 4.7 (its examples).
"""

import json
from pathlib import Path

import pytest

from adapters.sql.work import SqlStore
from service import maker_commands
from service.mapping import MOST_AT_ONCE, Said, Translator, matches
from service.mapping_form import EXAMPLE, MappingRefused, read_mapping
from service.model import Arrival
from service.pack import decode
from tests.builders import T0
from tests.presses.told import take_in

PLACE = 'topic = "porch/button"\nsite = "tern-cottage"\nchime = "porch"\n'
COUNTER = f'[[map]]\n{PLACE}take = "counter"\ndoor = "front"\n'
MOMENT = f'[[map]]\n{PLACE}take = "press"\ndoor = "front"\npressed = ["1", "ring"]\n'
FIGURE = f'[[map]]\n{PLACE}take = "figure"\nrecord = "rail.mean"\nscale = 0.001\nwindow_s = 60\npath = "$.supply.mv"\n'
PRESENCE = f'[[map]]\n{PLACE}take = "presence"\npresent = ["online"]\nabsent = ["offline"]\n'


def told(translator: Translator, *payloads: str, retained: bool = False, topic: str = "porch/button") -> list[Said]:
    found: list[Said] = []
    for number, payload in enumerate(payloads):
        found += translator.translate(topic, payload.encode(), T0 + 60.0 * number, retained)
    return found


def test_a_button_that_tells_both_ends_gives_presses_with_both_ends() -> None:
    said = told(Translator(read_mapping(EXAMPLE)), "OFF", "ON", "ON", "OFF", "nonsense")
    packs = [decode(one.payload, None, T0) for one in said]
    assert [pack.contact_changes[0].closed for pack in packs] == [True, False]
    assert {(one.site, one.chime, one.leaf) for one in said} == {("tern-cottage", "porch", "pack")}


def test_a_moment_alone_is_a_press_and_two_alike_are_two(tmp_path: Path) -> None:
    store = SqlStore(f"sqlite:///{tmp_path / 'record.sqlite'}")
    said = told(Translator(read_mapping(MOMENT)), "ring", "ring", "1", "0")
    place = "bellcrank/1/tern-cottage/porch/pack"
    take_in(store, [Arrival(place, one.payload, T0 + 60.0 * number) for number, one in enumerate(said)])
    presses, _ = store.reader().presses("tern-cottage", T0 - 10.0, T0 + 1000.0)
    assert [round(press.start_s - T0) for press in presses] == [0, 60, 120]
    assert {press.door for press in presses} == {"front"}
    assert all(press.uncertainty_s > 0.0 for press in presses)


def test_what_is_retained_or_sent_again_is_no_press() -> None:
    assert told(Translator(read_mapping(MOMENT)), "ring", retained=True) == []
    translator = Translator(read_mapping(MOMENT))
    assert len(translator.translate("porch/button", b"ring", T0)) == 1
    assert translator.translate("porch/button", b"ring", T0 + 1.0, again=True) == []
    assert len(translator.translate("porch/button", b"ring", T0 + 30.0, again=True)) == 1
    both = Translator(read_mapping(EXAMPLE))
    assert told(both, "ON", retained=True) == []
    assert len(told(both, "OFF")) == 1


def test_a_counter_tells_from_its_second_word_on_and_may_begin_anew() -> None:
    translator = Translator(read_mapping(COUNTER))
    assert [len(told(translator, count)) for count in ("7", "7", "8", "11", "0", "1")] == [0, 0, 1, 1, 0, 1]
    (trouble,) = told(translator, str(2 + MOST_AT_ONCE))
    assert trouble.trouble == "the counter went from 1 to 22 at once"


def test_a_figure_inside_json_comes_in_the_contracts_unit() -> None:
    (said,) = told(Translator(read_mapping(FIGURE)), '{"supply": {"mv": 14200}, "rssi": -60}')
    pack = decode(said.payload, None, T0)
    assert pack.rail_windows[0].mean_v == pytest.approx(14.2)
    assert pack.rail_windows[0].window_s == 60.0
    assert told(Translator(read_mapping(FIGURE)), '{"rssi": -60}') == []  # which tells nothing of it


def test_presence_is_that_of_the_contract() -> None:
    said = told(Translator(read_mapping(PRESENCE)), "online", "offline", "asleep")
    assert [(one.leaf, one.payload) for one in said] == [("alive", b"1"), ("alive", b"0")]


def test_what_cannot_be_used_is_set_aside_with_its_bytes() -> None:
    for payload, trouble in (("{", "no JSON"), ('{"supply": {"mv": "much"}}', "no number")):
        (said,) = told(Translator(read_mapping(FIGURE)), payload)
        assert trouble in said.trouble
        assert said.payload == payload.encode()


@pytest.mark.parametrize(
    ("pattern", "topic", "fits"),
    [
        ("sport/tennis/player1/#", "sport/tennis/player1", True),
        ("sport/tennis/player1/#", "sport/tennis/player1/score/wimbledon", True),
        ("sport/tennis/+", "sport/tennis/player1/ranking", False),
        ("sport/+", "sport", False),
        ("sport/+", "sport/", True),
        ("+/+", "/finance", True),
        ("+", "/finance", False),
    ],
)
def test_topic_filters_are_those_of_mqtt(pattern: str, topic: str, fits: bool) -> None:
    assert matches(pattern, topic) is fits


@pytest.mark.parametrize(
    ("text", "line", "column", "words"),
    [
        ("[[map]]\ntopic = \n", 2, 9, "Invalid value"),
        ("map = 3\n", 1, 1, "no [[map]]"),
        ("colour = 3\n" + EXAMPLE, 1, 1, "`colour` is not known"),
        (EXAMPLE.replace('"press"', '"pres"'), 5, 1, "was 'press' meant"),
        (EXAMPLE.replace("site", "sight"), 3, 1, "was `site` meant"),
        (EXAMPLE.replace('"front"', '"Front Door"'), 6, 1, "1 to 16 of a-z"),
        (EXAMPLE.replace("porch/button", "porch/+x"), 2, 1, "topic filter"),
        (EXAMPLE.replace('["ON"]', '"ON"'), 7, 1, "list of words"),
        (EXAMPLE + "\n" + EXAMPLE.replace("tern-cottage", "Tern"), 12, 1, "1 to 40"),
        (FIGURE.replace("rail.mean", "rail.maen"), 6, 1, "was 'rail.mean' meant"),
        (FIGURE.replace("0.001", "0"), 7, 1, "above 0"),
        (FIGURE.replace("$.supply.mv", "$.supply["), 9, 18, "no JSONPath"),
        (MOMENT.replace('pressed = ["1", "ring"]\n', ""), 1, 1, "`pressed` is missing"),
    ],
)
def test_every_mistake_is_told_with_line_and_column(text: str, line: int, column: int, words: str) -> None:
    with pytest.raises(MappingRefused) as refused:
        read_mapping(text)
    assert any((one.line, one.column) == (line, column) and words in one.text for one in refused.value.mistakes), (
        refused.value.mistakes
    )


def test_the_command_shows_what_a_message_becomes(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "mapping.toml"
    file.write_text(EXAMPLE)
    assert maker_commands.try_mapping(file, None, None)
    assert "porch/button -> press front of tern-cottage/porch" in capsys.readouterr().out
    assert maker_commands.try_mapping(file, "porch/button", "ON")
    shown = capsys.readouterr().out
    assert json.loads(shown.partition(": ")[2])[0] == {"n": "front.press", "vb": True}
    file.write_text(EXAMPLE.replace('"press"', '"pres"'))
    assert not maker_commands.try_mapping(file, None, None)
    assert f"{file}:5:1:" in capsys.readouterr().out
