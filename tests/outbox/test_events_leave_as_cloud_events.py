"""Promise: what leaves is a CloudEvent of version 1.0.2, unique by source and id, whatever happened."""

import re
from datetime import datetime

import jsonschema_rs
import pytest

from service.cloud_events import WHAT, cloud_event
from service.model import Event
from tests.builders import CHIME, SITE, T0
from tests.outbox.conftest import Post

# CloudEvents 1.0.2, "Required attributes" and "Optional attributes"; JSON Event Format 1.0.2, section 3. Attribute names are
# lower-case letters and digits ("Naming conventions"); source is a URI-reference, time as RFC 3339.
RULES = {
    "type": "object",
    "required": ["id", "source", "specversion", "type"],
    "properties": {
        "id": {"type": "string", "minLength": 1},
        "source": {"type": "string", "minLength": 1, "format": "uri-reference"},
        "specversion": {"const": "1.0"},
        "type": {"type": "string", "minLength": 1},
        "subject": {"type": "string", "minLength": 1},
        "time": {"type": "string", "format": "date-time"},
        "datacontenttype": {"type": "string", "minLength": 1},
    },
    "patternProperties": {"^[a-z0-9]+$": {}},
    "additionalProperties": False,
}


@pytest.mark.parametrize("kind", list(WHAT))
def test_every_kind_keeps_the_rules_of_the_standard(kind: str) -> None:
    told = cloud_event(Event(1, T0, kind, SITE, CHIME, {"door": "front"}), "1-a")  # type: ignore[arg-type]
    jsonschema_rs.validator_for(RULES, validate_formats=True).validate(told)
    assert re.fullmatch(r"org\.bellcrank\.[a-z]+\.v1", told["type"])
    assert datetime.fromisoformat(told["time"]).timestamp() == T0


def test_the_rules_refuse_what_the_standard_refuses() -> None:
    good = cloud_event(Event(1, T0, "press", SITE, CHIME, {}), "1-a")
    validator = jsonschema_rs.validator_for(RULES, validate_formats=True)
    for bad in ({"id": ""}, {"specversion": "1"}, {"source": ""}, {"webhookId": "x"}, {"time": "yesterday"}):
        assert not validator.is_valid(good | bad)
    assert not validator.is_valid({name: value for name, value in good.items() if name != "id"})


def test_an_event_has_one_id_for_all_ways_out_and_no_other_event_has_it(post: Post) -> None:
    outlets = [post.outlet(), post.outlet(name="another")]
    for _ in range(50):
        post.ring("front")
    found = [[letter.content["id"] for letter in post.reader.waiting_letters(outlet, 0, 100)] for outlet in outlets]
    assert found[0] == found[1]
    assert len(set(found[0])) == 50


def test_a_record_begun_anew_does_not_use_an_id_again(post: Post) -> None:
    outlet = post.outlet()
    post.ring("front")
    (first,) = post.reader.waiting_letters(outlet, 0, 10)
    post.do(lambda work: work._connection.exec_driver_sql("DELETE FROM event"))  # type: ignore[attr-defined]
    post.store._ledgers.forget()
    post.ring("front")
    second = post.reader.waiting_letters(outlet, 0, 10)[-1]
    assert first.key.split("-")[0] == second.key.split("-")[0]
    assert first.key != second.key
