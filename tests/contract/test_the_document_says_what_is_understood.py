"""Promise: the published contract and the code are one: its tables, its examples and its refusals, in both directions."""

import itertools
import json
import re
from fractions import Fraction
from pathlib import Path

import pytest

from service import contract, model, pack, recordings, senml, topics
from service.contract import RULES, Rule
from service.errors import BadPack

NOW_S = 1_789_380_000.0
TEXT = (Path(contract.__file__).parent / "chime-contract.md").read_text()
LABELS = {"number": "v", "count": "v", "text": "vs", "flag": "vb", "data": "vd"}


def _section(title: str) -> str:
    """From a heading to the next of its rank."""
    found = re.search(rf"^(#+) {re.escape(title)}$(.*?)(?=^#{{2}} |\Z)", TEXT, re.M | re.S)
    assert found, title
    return found[2]


def _rows(text: str) -> list[list[str]]:
    """The cells of all table rows, without headings."""
    rows = [
        line.strip("|").split("|")
        for line in re.sub(r"^\|[^\n]*\n\| ---[^\n]*\n", "", text, flags=re.M).split("\n")
        if line.startswith("|")
    ]
    return [[cell.strip() for cell in row] for row in rows]


def _fenced(kind: str) -> list[str]:
    return re.findall(rf"^```{kind}\n(.*?)^```$", TEXT, re.M | re.S)


def _number(cell: str) -> float | None:
    if not cell:
        return None
    base, _, power = cell.partition("^")
    return float(base) ** int(power) if power else float(Fraction(cell))


RECORDS = {row[0].strip("`"): row for row in _rows(_section("Records"))}


def test_its_tables_have_every_record_of_the_code_and_no_other() -> None:
    assert RECORDS.keys() == {rule.name for rule in RULES}
    assert len(_rows(_section("Records"))) == len(RULES)  # each once


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.name)
def test_a_record_has_the_units_bounds_and_words_of_the_code(rule: Rule) -> None:
    _, label, unit, low, high, again, meaning = RECORDS[rule.name]
    counts = rule.kind in ("number", "count")
    assert label == LABELS[rule.kind]
    assert unit == (rule.unit if counts else "")
    assert (_number(low), _number(high)) == ((rule.low, rule.high) if counts else (None, None))
    assert again == ("yes" if rule.repeats else "")
    assert all(f"`{word}`" in meaning for word in rule.words)


def test_every_record_named_anywhere_in_it_is_known() -> None:
    """In running text too, where a name that was changed in the code would be overlooked."""
    said = _section("Records") + _section("Levels: what each buys") + _section("Clocks") + _section("Edges")
    for name in re.findall(r"`((?:rail|reg|load|boot|<door>)\.[a-z.]+)`", said):
        assert name in RECORDS, name


def test_limits_in_its_words_are_those_of_the_code() -> None:
    assert f"at most {senml.SIZE_LIMIT} bytes" in TEXT
    assert f"more than {senml.SIZE_LIMIT} bytes" in TEXT
    assert (
        f"at most {contract.LATEST_S:g} s after the pack and at most {-contract.EARLIEST_S / 86400:g} days before"
        in " ".join(TEXT.split())
    )
    assert senml.RELATIVE_BELOW_S == 2.0**28
    assert "`t` of 2^28 or more" in TEXT
    assert contract.VERSIONS == (10, 26)
    assert "`bver` is 10, or 26" in TEXT
    assert f"The code −{-contract.NO_VALUE} says" in TEXT
    assert contract.TICK_S == 1e-4
    assert "ticks of 100 µs" in TEXT
    doors = re.search(r"It cannot be (.*)\.$", TEXT, re.M)
    assert doors
    assert set(re.findall(r"`([a-z]+)`", doors[1])) == contract.RESERVED


def test_its_topics_are_those_of_the_code() -> None:
    told = [row[0].strip("`") for row in _rows(_section("Topics"))]
    assert {topic.rpartition("/")[2] for topic in told} == set(topics.LEAVES)
    for topic in told:
        topics.parse(topic.replace("<site>", "tern-cottage").replace("<chime>", "hall"))


def test_the_least_pack_is_a_press() -> None:
    assert pack.decode(_fenced("json")[0].encode(), None, NOW_S) == model.Pack(
        contact_changes=(model.ContactChange("front", 0.0, True),)
    )


def test_the_press_in_60_bytes_is_the_same_in_both_forms() -> None:
    octets = bytes.fromhex(_fenced("cbor")[0])
    assert len(octets) <= 60
    assert f"In CBOR that is {len(octets)} bytes" in TEXT
    told = pack.decode(octets, "application/senml+cbor", NOW_S)
    assert told == pack.decode(_fenced("json")[1].encode(), "application/senml+json", NOW_S)
    assert (told.boot, told.seq, told.up_s) == (7, 12, 3605.5)
    assert told.contact_changes == (model.ContactChange("front", 0.0, True),)


def test_the_full_examples_say_what_the_text_says() -> None:
    restarted, press, survey = (pack.decode(text.encode(), None, NOW_S) for text in _fenced("json")[2:])
    assert (restarted.version, restarted.boot, restarted.seq, restarted.up_s) == (26, 8, 0, 2.25)
    assert restarted.boot_cause == "brown-out"
    assert restarted.rail_windows == (model.RailWindow(0.0, window_s=1.0, mean_v=pytest.approx(14.2)),)
    assert restarted.link_dbw == pytest.approx(-95.0)
    assert (press.boot, press.seq, press.up_s, press.device) == (7, 12, 3605.5, "urn:dev:mac:0024befffe804ff1")
    assert len(press.pulse_trains[0].pulses) == 3
    assert press.sound == (model.Switch(-0.38, True),)
    assert press.load_changes == (model.LoadChange(-0.38, "sound"),)
    peaks, troughs = (_volts(wave) for wave in press.waveforms)
    told = re.search(r"The peaks are ([^V]*) V", TEXT)
    assert told
    assert peaks == pytest.approx([float(number) for number in re.findall(r"[\d.]+\d", told[1])])
    assert troughs[4] is None
    assert None not in troughs[:4] + troughs[5:]
    assert press.rail_windows == (model.RailWindow(0.0, 10.0, 14.1, 13.6, 14.6),)
    assert (press.regulated_min_v, press.temperature_c, press.link_dbw) == (4.98, 19.5, -95.0)
    assert (survey.test_load_a, survey.mains_hz) == (0.05, 50.01)
    assert survey.burst_figures == (
        model.BurstFigures("idle", -2.0, 14.4, 14.1, 14.25, 17.0),
        model.BurstFigures("test", -1.0, 13.5, 11.6, 12.5, 123.0),
    )
    for told_pack in (restarted, press, survey):
        assert told_pack.unknown == ()


def _volts(wave: model.Waveform) -> list[float | None]:
    codes = [int.from_bytes(wave.codes[i : i + 2], "little", signed=True) for i in range(0, len(wave.codes), 2)]
    return [None if code == contract.NO_VALUE else code * wave.lsb_v for code in codes]


def test_the_edges_are_the_numbers_and_the_pulses_that_stand_below_them() -> None:
    (text,) = _fenced("edges")
    octets, section = bytes.fromhex(text), _section("Edges")
    told = re.search(r"The numbers are ([\d, ]+)\.", section)
    assert told
    moments = list(itertools.accumulate(int(number) for number in told[1].split(",")))
    ticks = [round((moment + 0.5) / 1e-4) for pulse in pack.pulses_of(octets, -0.5) for moment in pulse]
    assert ticks == moments
    pulses = [tuple(float(cell.replace("−", "-")) for cell in row) for row in _rows(section)]
    assert pack.pulses_of(octets, -0.5) == tuple(pytest.approx(pulse) for pulse in pulses)
    encoded = re.search(r"the seven bytes are `(\w+)`", section)
    assert encoded
    assert recordings.from_base64url(encoded[1]) == octets
    assert encoded[1] in _fenced("json")[3]


@pytest.mark.parametrize(
    ("number", "octets"), [(2, "02"), (127, "7f"), (128, "8001"), (129, "8101"), (130, "8201"), (12857, "b964")]
)
def test_its_numbers_are_those_of_the_standard(number: int, octets: str) -> None:
    """Examples of unsigned LEB128 in DWARF 4, figure 22 (from memory): read by the service, written by the lines of the text."""
    assert pack.pulses_of(bytes.fromhex(octets) + b"\x01", 0.0)[0][0] == pytest.approx(number * 1e-4)
    assert _fenced("c") == [
        "while (n > 0x7f) { *out++ = (uint8_t)(n | 0x80); n >>= 7; }\n*out++ = (uint8_t)n;\n"
    ]  # whoever changes them changes the loop below
    written = bytearray()
    while number > 0x7F:
        written.append((number | 0x80) & 0xFF)
        number >>= 7
    written.append(number & 0xFF)
    assert written.hex() == octets


def test_there_are_examples_of_each_kind() -> None:
    """An example that is lost must not be a test that is lost."""
    assert len(_fenced("json")) == 5
    assert len(_rows(_section("What a bad pack gets"))) >= 15


@pytest.mark.parametrize("row", _rows(_section("What a bad pack gets")), ids=lambda row: row[0][:60])
def test_a_bad_pack_is_refused_for_the_reason_that_stands_beside_it(row: list[str]) -> None:
    payload, reason = row[0].strip("`"), row[1]
    with pytest.raises(BadPack) as refused:
        pack.decode(payload.encode(), None, NOW_S)
    assert refused.value.reason == reason


def test_the_recording_is_read_as_told() -> None:
    (text,) = _fenced("recording")
    alive, marked, binary, in_lines = recordings.read(text.splitlines())
    assert (alive.payload, alive.received_s) == (b"1", 1789380000.25)
    assert marked.commissioning
    assert not binary.commissioning
    assert binary.payload == bytes.fromhex(_fenced("cbor")[0])
    assert in_lines.payload.count(b"\n") == 2
    told = pack.decode(in_lines.payload, in_lines.content_type, in_lines.received_s)
    assert told.contact_changes == (model.ContactChange("front", 0.0, False),)
    for line, arrival in zip(text.splitlines(), (alive, marked, binary, in_lines), strict=True):
        assert json.loads(recordings.write(arrival)) == json.loads(line)  # and so it is written


def test_the_fields_of_a_recording_are_those_of_the_code() -> None:
    told = {row[0].strip("`") for row in _rows(_section("Recordings"))}
    assert told == set(recordings._Line.__struct_fields__)
