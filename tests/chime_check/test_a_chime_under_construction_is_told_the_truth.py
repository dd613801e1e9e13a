"""Promise: whoever builds a chime is told, record by record, what is right, what is wrong by which rule, and what comes next.

Right are all examples of the published contract. What else is wrong or right follows from RFC 8428 (SenML), MQTT and the contract.
"""

import json
import re
from pathlib import Path
from typing import Any

import pytest

from service import chime_check, maker_commands
from service.chime_check import Check, Message
from service.chime_words import remark, summary
from service.levels import NEEDS
from service.settings import Settings

CONTRACT = Path(chime_check.__file__).with_name("chime-contract.md")
HEAD: dict[str, Any] = {"boot": 1, "seq": 0, "up": 5.0}


def pack(*records: dict[str, Any], received_s: float = 100.0, qos: int | None = 1, **head: Any) -> Message:
    numbers = [{"n": name, "v": value} for name, value in (HEAD | head).items() if value is not None]
    return Message("pack", json.dumps([*numbers, *records]).encode(), received_s, None, qos)


def said(*messages: Message) -> list[str]:
    check = Check()
    for message in messages:
        check.take(message)
    return [remark(one) for one, _ in check.report() if one.about != "presence"]


def test_a_good_chime_hears_nothing_bad_and_reaches_its_levels() -> None:
    check = Check()
    window = ({"n": "rail.mean", "u": "V", "v": 14.2}, {"n": "rail.window", "u": "s", "v": 10})
    for seq in range(30):
        check.take(pack(*window, seq=seq, up=5.0 + 10.0 * seq, received_s=100.0 + 10.0 * seq))
    check.take(pack({"n": "front.press", "vb": True}, seq=30, up=305.0, received_s=400.1))
    check.take(Message("alive", b"1", 401.0, None, 1, True))
    assert check.report() == []
    assert check.good
    assert check.levels == {"presses", "exactly-once", "supply"}
    assert check.next_level == ("sound", NEEDS["sound"])
    assert check.records["rail.mean"] == 30


@pytest.mark.parametrize(
    ("broken", "told"),
    [
        (pack({"n": "rail.mean", "u": "A", "v": 14.2}), "unit A; the contract has V"),
        (pack({"n": "rail.mean", "u": "V", "v": 1e4}), "is outside"),
        (pack({"n": "front.press", "v": 1}), "true or false"),
        (pack({"n": "boot.cause", "vs": "boredom"}), "is none of"),
        (Message("pack", b"not SenML", 0.0, None, 1), "The whole pack is set aside"),
        (pack({"n": "rail.mean", "u": "V", "v": 14.0}, {"n": "rail.min", "u": "V", "v": 15.0},
              {"n": "rail.window", "v": 10}), "not in this order"),
        (pack({"n": "front.press", "vb": True}, qos=0), "QoS 0"),
        (Message("alive", b"true", 0.0, None, 1), "neither `0` nor `1`"),
        (Message("alive", b"1", 0.0, None, 0), "QoS 0"),
    ],
)  # fmt: skip
def test_what_breaks_the_contract_is_wrong(broken: Message, told: str) -> None:
    check = Check()
    check.take(pack({"n": "front.press", "vb": False}, seq=99, boot=9))
    found = check.take(broken)
    assert any(one.grave and told in remark(one) for one in found), found
    assert not check.good


def test_a_retained_pack_is_wrong() -> None:
    good = pack({"n": "front.press", "vb": True})
    assert any("retained" in one for one in said(good._replace(retained=True)))


def test_numbers_that_cannot_be_are_wrong_and_a_pack_sent_again_is_not() -> None:
    one, again = pack(seq=0), pack(seq=0)
    assert said(one, again) == []
    assert "other content" in said(one, pack({"n": "temp", "v": 20.0}))[0]
    assert "runs backwards" in said(pack(seq=0, up=50.0), pack(seq=1, up=40.0))[0]
    assert "left out" in said(pack(seq=0), pack(seq=5, up=60.0, received_s=155.0))[0]
    assert "not 0" in said(pack(seq=0), pack(boot=2, seq=4, up=6.0, received_s=200.0))[0]
    assert "later than 10 s" in said(pack(seq=0), pack(boot=2, seq=0, up=60.0, received_s=200.0))[0]


def test_a_counter_that_does_not_keep_step_is_wrong_and_a_crystal_is_not() -> None:
    def counted(rate: float) -> list[str]:
        return said(*(pack(seq=n, up=5.0 + rate * 60.0 * n, received_s=100.0 + 60.0 * n) for n in range(20)))

    assert counted(1.00005) == []  # 50 ppm
    assert "does not keep step" in counted(1.1)[0]
    assert "does not keep step" in counted(0.001)[0]  # milliseconds taken for seconds, or the other way round


def test_what_is_worth_a_look_is_no_breach() -> None:
    check = Check()
    for message in (
        pack({"n": "rail.maen", "u": "V", "v": 14.2}),
        pack({"n": "front.press", "vb": True}, boot=None, received_s=110.0),
        pack({"n": "rail.mean", "u": "V", "v": 14.2}, seq=1, up=25.0, received_s=120.0),
        pack({"n": "clock", "u": "s", "v": 1000.0}, seq=2, up=35.0, received_s=130.0),
    ):
        check.take(message)
    told = " ".join(remark(one) for one, _ in check.report())
    assert "Was `rail.mean` meant?" in told
    assert "may count twice" in told
    assert "Without it nobody knows of which stretch" in told
    assert "ahead by 870 s" in told
    assert "Nothing came on `alive`" in told
    assert check.good


def test_silence_is_told_as_such() -> None:
    assert any("No pack came" in line for line in summary(Check()))
    assert not Check().good


def test_a_recording_is_looked_at_as_well(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The recording that the published contract shows."""
    (shown,) = re.findall(r"`{3}recording\n(.*?)`{3}", CONTRACT.read_text(), re.DOTALL)
    file = tmp_path / "house.jsonl"
    file.write_text(shown)
    assert maker_commands.check_chime("tern-cottage/hall", Settings(), file, 0.0, "presses")
    told = capsys.readouterr().out
    assert "front.press" in told
    assert "The chime keeps the contract." in told
    assert not maker_commands.check_chime("tern-cottage/hall", Settings(), file, 0.0, "bursts")
    assert not maker_commands.check_chime("tern-cottage/attic", Settings(), file, 0.0, None)


def test_every_pack_of_the_published_contract_is_right() -> None:
    packs = re.findall(r"`{3}[a-z]+\n(\[\s*\{.*?\}\s*\])\s*`{3}", CONTRACT.read_text(), re.DOTALL)
    assert len(packs) >= 2
    for text in packs:
        check = Check()
        assert [one for one in check.take(Message("pack", text.encode(), 1.8e9, None, 1, False)) if one.grave] == []
