"""Promise: every record of the contract is understood; what breaks it is refused whole, with a reason that names the record."""

import json
import struct
from base64 import urlsafe_b64encode
from typing import Any

import cbor2
import pytest

from service import contract, pack, recordings, topics
from service.errors import BadPack, BadTopic
from service.model import Address, Arrival, ContactChange, LoadChange, Pack, RailRise, RailWindow, Switch

NOW_S = 1_789_380_000.0
LABELS = {"bver": -1, "bn": -2, "bt": -3, "n": 0, "u": 1, "v": 2, "vs": 3, "vb": 4, "t": 6, "vd": 8}  # RFC 8428 table 4


def data(octets: bytes) -> str:
    return urlsafe_b64encode(octets).rstrip(b"=").decode()


def codes(*numbers: int) -> str:
    return data(struct.pack(f"<{len(numbers)}h", *numbers))


HEAD: list[dict[str, Any]] = [
    {"bn": "urn:dev:mac:0024befffe804ff1_", "n": "boot", "u": "count", "v": 7},
    {"n": "seq", "u": "count", "v": 12},
    {"n": "up", "u": "s", "v": 3605.2},
]
EVERYTHING: list[dict[str, Any]] = [
    *HEAD,
    {"n": "boot.cause", "vs": "brown-out"},
    {"n": "dropped", "u": "count", "v": 3},
    {"n": "clock", "u": "s", "v": NOW_S},
    {"n": "front.edges", "t": -2, "vd": data(bytes([0, 70, 0x82, 1, 70]))},
    {"n": "garden.press", "t": -3, "vb": True},
    {"n": "rail.mean", "u": "V", "v": 14.2},
    {"n": "rail.min", "u": "V", "v": 13.9},
    {"n": "rail.max", "u": "V", "v": 14.5},
    {"n": "rail.low", "u": "V", "v": 9.6},
    {"n": "rail.window", "u": "s", "v": 10},
    {"n": "rail.rise", "u": "V", "t": -2, "v": 0.6},
    {"n": "rail.rise.span", "u": "s", "t": -2, "v": 0.3},
    {"n": "rail.rate", "u": "Hz", "v": 2000},
    {"n": "rail.lsb", "u": "V", "v": 0.008},
    {"n": "rail.cycle", "u": "s", "v": 0.02},
    {"n": "rail.peaks", "t": -2.5, "vd": codes(1800, 1801, -32768)},
    {"n": "rail.burst.test", "t": -9, "vd": codes(1700, 1690)},
    {"n": "load.test", "u": "A", "v": 0.05},
    {"n": "mains", "u": "Hz", "v": 50.01},
    {"n": "rail.idle.max", "u": "V", "v": 14.4},
    {"n": "rail.idle.fall", "u": "V/s", "v": 8.5},
    {"n": "radio", "t": -8, "vb": False},
    {"n": "load.log", "t": -2, "vs": "sound"},
    {"n": "reg.mean", "u": "V", "v": 5.01},
    {"n": "reg.min", "u": "V", "v": 4.98},
    {"n": "sound", "t": -1.9, "vb": True},
    {"n": "temp", "u": "Cel", "v": 19.5},
    {"n": "link", "u": "dBW", "v": -92},
    {"n": "colour", "vs": "green"},
]


def decode(records: list[dict[str, Any]]) -> Pack:
    return pack.decode(json.dumps(records).encode(), None, NOW_S)


def test_every_record_goes_to_its_place() -> None:
    read = decode(EVERYTHING)
    assert (read.boot, read.seq, read.up_s, read.boot_cause, read.dropped) == (7, 12, 3605.2, "brown-out", 3)
    assert read.device == "urn:dev:mac:0024befffe804ff1"
    (train,) = read.pulse_trains
    assert train.door == "front"
    assert train.pulses == (pytest.approx((-2.0, -1.993)), pytest.approx((-1.98, -1.973)))
    assert read.contact_changes == (ContactChange("garden", -3.0, True),)
    assert RailWindow(0.0, 10.0, 14.2, 13.9, 14.5, 9.6) in read.rail_windows
    assert read.rail_rises == (RailRise(-2.0, 0.6, 0.3),)
    kinds = {wave.kind: wave for wave in read.waveforms}
    assert (kinds["test"].rate_hz, kinds["test"].lsb_v, len(kinds["test"].codes)) == (2000, 0.008, 4)
    assert kinds["peaks"].rate_hz == pytest.approx(50.0)
    assert (read.test_load_a, read.mains_hz) == (0.05, 50.01)
    (figures,) = read.burst_figures
    assert (figures.kind, figures.max_v, figures.fall_v_per_s) == ("idle", 14.4, 8.5)
    assert (read.radio, read.sound) == ((Switch(-8.0, False),), (Switch(-1.9, True),))
    assert read.load_changes == (LoadChange(-2.0, "sound"),)
    assert (read.regulated_mean_v, read.regulated_min_v, read.temperature_c, read.link_dbw) == (5.01, 4.98, 19.5, -92)
    assert read.unknown == ("colour",)


def test_the_same_pack_in_cbor_says_the_same() -> None:
    def octets(text: str) -> bytes:
        from base64 import urlsafe_b64decode

        return urlsafe_b64decode(text + "=" * (-len(text) % 4))

    labelled = [
        {LABELS[key]: octets(value) if key == "vd" else value for key, value in record.items()} for record in EVERYTHING
    ]
    assert pack.decode(cbor2.dumps(labelled), None, NOW_S) == decode(EVERYTHING)


def test_every_record_of_the_table_is_tried_here() -> None:
    tried = {record["n"].replace("front", "<door>").replace("garden", "<door>") for record in EVERYTHING}
    families = {rule.name.rpartition(".")[0] + "." for rule in contract.RULES if rule.name not in tried}
    # what is left are siblings: other bursts and figures, the summary of a press, the other form of the test load
    assert families <= {"rail.burst.", "rail.", "rail.idle.", "rail.test.", "rail.sound.", "<door>.", "load.test."}


def test_an_absolute_time_is_counted_from_the_chimes_own_clock() -> None:
    wrong_clock = NOW_S - 86400.0
    read = decode([{"n": "clock", "u": "s", "v": wrong_clock}, {"n": "front.press", "t": wrong_clock - 5, "vb": True}])
    assert read.contact_changes[0].moment_s == pytest.approx(-5.0)


@pytest.mark.parametrize(
    ("record", "told"),
    [
        ({"n": "rail.mean", "u": "V", "v": 400}, "400"),
        ({"n": "rail.mean", "u": "A", "v": 4}, "A"),
        ({"n": "rail.mean", "vs": "high"}, "rail.mean"),
        ({"n": "front.press", "vb": True, "t": 31536000}, "front.press"),
        ({"n": "front.press", "v": 1}, "front.press"),
        ({"n": "boot.cause", "vs": "lightning"}, "lightning"),
        ({"n": "seq", "v": -1}, "seq"),
        ({"n": "seq", "v": 1.5}, "seq"),
        ({"n": "front.edges", "vd": data(b"\xff")}, "front.edges"),
        ({"n": "rail.burst.idle", "vd": codes(1)}, "rail.burst.idle"),
        ({"n": "load.log", "vs": "dancing"}, "dancing"),
    ],
)
def test_a_record_that_cannot_be_is_refused_with_the_pack(record: dict[str, Any], told: str) -> None:
    with pytest.raises(BadPack) as refusal:
        decode([record, {"n": "temp", "u": "Cel", "v": 20}])
    assert told in refusal.value.reason


def test_a_pack_over_64_kib_is_refused() -> None:
    with pytest.raises(BadPack, match="65536"):
        decode([{"n": "note", "vs": "x" * 65536}])


def test_topics_follow_the_grammar() -> None:
    address = Address("tern-cottage", "hall", "pack")
    assert topics.parse("bellcrank/1/tern-cottage/hall/pack") == address
    assert topics.parse(topics.build(address, "home"), "home") == address
    for bad in ("bellcrank/1/Tern/hall/pack", "bellcrank/2/a/b/pack", "bellcrank/1/a/b", "bellcrank/1/-a/b/pack",
                f"bellcrank/1/{'a' * 41}/b/pack", "bellcrank/1/a/b/news"):  # fmt: skip
        with pytest.raises(BadTopic):
            topics.parse(bad)


def test_recordings_come_back_as_they_were() -> None:
    topic = "bellcrank/1/tern-cottage/hall/"
    arrivals = [
        Arrival(topic + "pack", json.dumps(HEAD).encode(), NOW_S, "file", "application/senml+json", commissioning=True),
        Arrival(topic + "pack", cbor2.dumps([{0: "temp", 2: 20}]), NOW_S + 1, "file", "application/senml+cbor"),
        Arrival(topic + "alive", b"0", NOW_S + 2, "file"),
    ]
    again = list(recordings.read(recordings.write(arrival) for arrival in arrivals))
    assert again == arrivals


def test_a_bad_line_of_a_recording_is_named() -> None:
    good = recordings.write(Arrival("bellcrank/1/a/b/alive", b"1", NOW_S))
    with pytest.raises(BadPack, match="line 2"):
        list(recordings.read([good, '{"at": 1}']))
