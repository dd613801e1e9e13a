"""Promise: a path in a mapping file is a JSONPath of RFC 9535, the whole of it, and no message can stop the translation.

The compliance suite of the JSONPath standard (BSD-2), whole, as it stands in the npm package jsonpath-rfc9535 1.3.0 (cts.json, SHA-256
in the test); its licence stands beside it in `standards/`. Each query goes through a mapping file, as an owner would write it.
"""

import gzip
import hashlib
import json
from pathlib import Path
from typing import Any

import pytest

from service.errors import BadPack
from service.mapping import Translator
from service.mapping_form import MappingRefused, read_mapping
from service.pack import decode
from tests.builders import T0

SUITE = gzip.decompress((Path(__file__).parent / "standards" / "jsonpath-compliance-test-suite.json.gz").read_bytes())
CASES: list[dict[str, Any]] = json.loads(SUITE)["tests"]
FIGURE = """[[map]]
topic = "porch/state"
site = "tern-cottage"
chime = "porch"
take = "figure"
record = "rail.mean"
path = """


def mapped(selector: str) -> str:
    """A mapping with it: a text in TOML is one in JSON, but for DEL and surrogates."""
    return FIGURE + json.dumps(selector, ensure_ascii=False).replace("\x7f", "\\u007f") + "\n"


def test_the_suite_is_the_published_one() -> None:
    assert hashlib.sha256(SUITE).hexdigest() == "a92e423ed064a7ed6af46f7df82125ce53dc4876fa3fb2bab0228aba1aa3af7c"
    assert (len(CASES), sum(case.get("invalid_selector", False) for case in CASES)) == (687, 245)


@pytest.mark.parametrize("case", CASES, ids=[case["name"] for case in CASES])
def test_each_query_finds_what_the_standard_says_or_is_refused(case: dict[str, Any]) -> None:
    if case.get("invalid_selector"):
        with pytest.raises(MappingRefused, match="no JSONPath"):
            read_mapping(mapped(case["selector"]))
        return
    (one,) = read_mapping(mapped(case["selector"]))
    assert one.find is not None
    # as text, since to Python True is 1; where the standard leaves the order open, the suite has every one
    found = json.dumps(one.find(case["document"]))
    assert found in [json.dumps(values) for values in case.get("results", [case.get("result")])]


@pytest.mark.parametrize(
    ("payload", "words"),
    [
        (b"[" * 100_000, "nested too deeply"),
        (b"[" * 30_000 + b"]" * 30_000, "nested too deeply"),
        (b'{"a":' * 300 + b'{"mv": 14200}' + b"}" * 300, "finds nothing"),  # JSON, but deeper than a path is followed
        (b'{"mv": 1' + b"0" * 5000 + b"}", "no JSON"),
        (b'{"mv": NaN}', "no number"),
        (b'{"mv": true}', "no number"),
        (b'{"mv": "\\ud800"}', "no number"),
        (b"\xff\xfe", "no text"),
        (b"", "no JSON"),
    ],
)
def test_no_message_stops_the_translation(payload: bytes, words: str) -> None:
    """Whatever is raised here would end the connection, and the broker would send the same message again for ever."""
    translator = Translator(read_mapping(mapped("$..mv")))
    (said,) = translator.translate("porch/state", payload, T0)
    assert words in said.trouble
    assert said.payload == payload
    with pytest.raises(BadPack):
        decode(said.payload, None, T0)
    assert len(translator.translate("porch/state", b'{"mv": 14.2}', T0 + 1.0)) == 1
