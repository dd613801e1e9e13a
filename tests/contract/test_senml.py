"""Promise: SenML is read as RFC 8428, RFC 8798 and RFC 9100 say, in JSON and in CBOR; anything else is refused whole."""

import json
from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service import senml
from service.contract import crc8, widened
from service.errors import BadPack

# RFC 8428 §5.1.2
VOLTAGE_AND_CURRENT = b"""[
 {"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,"bu":"A","bver":5,"n":"voltage","u":"V","v":120.1},
 {"n":"current","t":-5,"v":1.2}, {"n":"current","t":-4,"v":1.3}, {"n":"current","t":-3,"v":1.4},
 {"n":"current","t":-2,"v":1.5}, {"n":"current","t":-1,"v":1.6}, {"n":"current","v":1.7}]"""

_CURRENT = "a3006763757272656e7406"
# RFC 8428 §6: the same pack in CBOR, 195 bytes
IN_CBOR = bytes.fromhex(
    "87a721781b75726e3a6465763a6f773a3130653230373361303130383030363a22fb41d303a15b00106223614120050067766f6c7461676501615602"
    "fb405e066666666666"
    + _CURRENT + "2402fb3ff3333333333333" + _CURRENT + "2302fb3ff4cccccccccccd" + _CURRENT + "2202fb3ff6666666666666"
    + _CURRENT + "2102f93e00" + _CURRENT + "2002fb3ff999999999999a" + _CURRENT + "0002fb3ffb333333333333"
)  # fmt: skip


def pack(*records: dict[str, object]) -> bytes:
    return json.dumps(records).encode()


def test_the_example_with_base_fields_resolves() -> None:
    _, base, records = senml.resolve(VOLTAGE_AND_CURRENT)
    assert base == "urn:dev:ow:10e2073a0108006:"
    assert len(records) == 7
    currents = records[1:]
    assert {(r.name, r.unit) for r in currents} == {("urn:dev:ow:10e2073a0108006:current", "A")}
    assert [r.value for r in currents] == [1.2, 1.3, 1.4, 1.5, 1.6, 1.7]
    assert [r.time for r in currents] == pytest.approx([1276020071.001 + n for n in range(6)])


def test_the_example_in_cbor_says_the_same() -> None:
    assert len(IN_CBOR) == 195
    assert senml.resolve(IN_CBOR)[2] == senml.resolve(VOLTAGE_AND_CURRENT)[2]
    assert senml.resolve(IN_CBOR, "application/senml+cbor")[2] == senml.resolve(IN_CBOR)[2]


def test_the_base_name_may_change_while_the_base_time_stays() -> None:
    # RFC 8428 §5.1.6: four records, all at 1320078429
    records = senml.resolve(
        pack(
            {"bn": "2001:db8::2/", "bt": 1320078429, "n": "temperature", "u": "Cel", "v": 25.2},
            {"n": "humidity", "u": "%RH", "v": 30},
            {"bn": "2001:db8::1/", "n": "temperature", "u": "Cel", "v": 12.3},
            {"n": "humidity", "u": "%RH", "v": 67},
        )
    )[2]
    assert [r.time for r in records] == [1320078429] * 4
    assert records[2].name == "2001:db8::1/temperature"


def test_times_below_two_to_the_28_are_relative() -> None:
    # RFC 8428 §4.5.3
    assert senml.absolute_s(268435455, 1000) == 268436455
    assert senml.absolute_s(268435456, 1000) == 268435456


def test_data_is_base64url_without_padding() -> None:
    # RFC 8428 §5.1.5
    assert senml.resolve(pack({"n": "nfc-reader", "vd": "aGkgCg"}))[2][0].value == b"hi \n"


@pytest.mark.parametrize(
    "records",
    [
        [{"n": "a", "v": 1, "x_": 1}],
        [{"n": "a", "v": 1, "bver": 11}],
        [{"n": "a", "v": 1, "vs": "b"}],
        [{"n": "_a", "v": 1}],
        [{"n": "a"}],
        [{"n": "a", "v": "1"}],
        [{"n": "a", "v": True}],
        [{"n": "a", "v": 1, "bver": 10}, {"n": "b", "v": 1, "bver": 26}],
        {"n": "a", "v": 1},
    ],
)
def test_what_the_standard_forbids_is_refused(records: object) -> None:
    # RFC 8428 §4.1 to §4.5
    with pytest.raises(BadPack):
        senml.resolve(json.dumps(records).encode())


def test_secondary_units_come_out_as_primary_ones_under_version_26_only() -> None:
    # RFC 8798 §3: 100 ms = 0.1 s, 10 dBm = -20 dBW
    records = senml.resolve(pack({"bver": 26, "n": "a", "u": "ms", "v": 100}, {"n": "b", "u": "dBm", "v": 10}))[2]
    assert [(r.unit, r.value) for r in records] == [("s", pytest.approx(0.1)), ("dBW", -20)]
    with pytest.raises(BadPack):
        senml.resolve(pack({"bver": 10, "n": "a", "u": "ms", "v": 100}))


def test_versions_are_sets_of_features() -> None:
    # RFC 9100 §2.2: an implementation of 10 and feature 5 understands 10 and 42, not 26
    known = senml.BASE_VERSION | 1 << 5
    assert [senml.understands(version, known) for version in (10, 42, 26)] == [True, True, False]


def test_device_names_follow_rfc_9039() -> None:
    # RFC 9039 Table 1
    assert widened("0024be804ff1", mac_48=True) == "0024beffff804ff1"
    assert widened("0024be804ff1") == "0024befffe804ff1"
    # 1-Wire CRC-8 of the examples of RFC 9039
    assert [crc8(bytes.fromhex(text)) for text in ("10e2073a010800", "264437f5000000")] == [0x63, 0xED]


@pytest.mark.parametrize("number", ["NaN", "Infinity", "-Infinity", "1e999"])
def test_what_is_no_finite_number_is_refused(number: str) -> None:
    with pytest.raises(BadPack):
        senml.resolve(b'[{"n":"a","v":%s}]' % number.encode())


@given(payload=st.binary(max_size=200))
def test_any_bytes_are_read_or_refused_and_nothing_else(payload: bytes) -> None:
    for content_type in (None, "application/senml+json", "application/senml+cbor"):
        refuse_or_read(payload, content_type)


@given(at=st.integers(0, 194), byte=st.integers(0, 255), cut=st.integers(0, 195))
def test_a_spoilt_pack_is_read_or_refused_and_nothing_else(at: int, byte: int, cut: int) -> None:
    spoilt = bytearray(IN_CBOR)
    spoilt[at] = byte
    refuse_or_read(bytes(spoilt), None)
    refuse_or_read(IN_CBOR[:cut], None)
    refuse_or_read(VOLTAGE_AND_CURRENT[: at * 2] + bytes([byte]) + VOLTAGE_AND_CURRENT[at * 2 + 1 :], None)


def refuse_or_read(payload: bytes, content_type: str | None) -> None:
    with suppress(BadPack):  # any other exception fails the test
        senml.resolve(payload, content_type)
