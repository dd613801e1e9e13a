"""Promise: the sheet of ways out says where events go and whether they arrive; a person may test one, switch it, and send again."""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from dashboard import language, pages
from service.errors import Refused
from service.health import Health
from service.outlet_form import read_outlet
from service.retries import Answer
from tests.builders import SITE, T0
from tests.language.bracketed import Bracketed, escaped
from tests.outbox.conftest import DOWN, HOOK, MAIL, Post, Receiver, empty, post  # noqa: F401 - fixtures

SHEET = f"/house/{SITE}/ways-out"


@dataclass
class Asked:
    """What a person asked for; a test is answered as it is told."""

    post: Post
    answer: Answer = field(default_factory=lambda: Answer(True, "taken"))
    tested: list[int] = field(default_factory=list)

    def test(self, outlet_id: int) -> Answer:
        self.tested.append(outlet_id)
        return self.answer

    def switch(self, outlet_id: int, on: bool, why: str = "") -> Any:
        self.post.do(lambda work: work.switch_outlet(outlet_id, "" if on else "Somebody has switched it off."))

    def hurry(self, outlet_id: int) -> None:
        self.post.do(lambda work: work.hurry_letters(outlet_id))

    def resend(self, outlet_id: int, letter_ids: Sequence[int] | None) -> int:
        count = self.post.do(lambda work: work.resend_letters(outlet_id, letter_ids, self.post.now_s))
        if not count:
            raise Refused("There is no such dead letter.")
        return count


@dataclass
class Opened:
    client: TestClient
    asked: Asked

    def told(self, answer: Any = None) -> str:
        answer = answer or self.client.get(SHEET)
        return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.text))

    def wish(self, outlet: int, wish: str) -> Any:
        return self.client.post(f"/house/{SITE}/way-out/{outlet}", data={"wish": wish})


@pytest.fixture
def opened(post: Post) -> Iterator[Opened]:  # noqa: F811
    app, asked = FastAPI(), Asked(post)
    health = Health("0.1.0", T0, "127.0.0.1:7433")
    router = pages.build(post.reader, None, health, lambda: post.now_s, outlets=asked)  # type: ignore[arg-type]
    app.router.routes.extend(router.routes)
    with TestClient(app) as client:
        yield Opened(client, asked)


def test_each_way_out_is_told_with_its_conditions_and_no_secret(post: Post, opened: Opened) -> None:  # noqa: F811
    assert "Nothing leads out." in opened.told()
    post.outlet(kinds=["alarm"], lowest="medium", keys=["whsec_" + "A" * 44])
    way = MAIL | {
        "digest": "day",
        "digest_hour": 7,
        "password": "geheim",
        "quiet_from": "22:00",
        "quiet_until": "07:00",
    }
    post.do(lambda work: work.put_outlet(read_outlet(way | {"person": "Ann", "away_lowest": "high", "site": SITE})))
    post.do(lambda work: work.put_outlet(read_outlet(MAIL | {"name": "another house", "site": "gull-cottage"})))
    told = opened.told()
    assert "To the webhook at tern-cottage.example. It gets: alarms. Of these, from “Within days” on." in told
    assert "By e-mail to ann@tern-cottage.example, all of a day in one at 07:00." in told
    assert "Quiet from 22:00 to 07:00, but for “Cannot wait”. Quiet while Ann is away, but for “Soon”." in told
    assert "another house" not in told
    html = opened.client.get(SHEET).text
    assert "geheim" not in html
    assert "whsec_" not in html
    assert "/bell" not in html  # a path may be a secret too


def test_what_waits_what_failed_and_what_was_given_up(post: Post, opened: Opened) -> None:  # noqa: F811
    outlet, receiver = post.outlet(), Receiver(down=True)
    assert "Everything has been taken. " in opened.told()
    assert "Nothing has been sent yet." in opened.told()
    post.ring("front", "garden")
    assert "Something waits for its time." in opened.told()
    assert "Waiting: two events, since" in opened.told()
    carrier = post.carrier(outlet, receiver)
    post.run(carrier, T0 + 1.0)
    told = opened.told()
    assert "Something has not arrived yet." in told
    assert "Tried once; the answer: 503 Service Unavailable." in told
    assert "Try it now" in told
    assert opened.wish(outlet, "hurried").status_code == 200
    assert post.reader.waiting_letters(outlet, 0, 1)[0].due_s is None
    post.now_s = T0 + 5 * 86_400.0  # nobody tries for longer
    post.run(post.carrier(outlet, receiver), post.now_s + 30.0)
    told = opened.told()
    assert "Two events could not be delivered." in told
    assert f"Given up: two events; the answer: {DOWN.told}." in told
    receiver.down = False
    assert "on its way again" in opened.wish(outlet, "again").text
    post.run(post.carrier(outlet, receiver), post.now_s + 60.0)
    assert receiver.doors == ["front", "garden"]
    assert "Everything has been taken." in opened.told()
    assert "The last was taken" in opened.told()


def test_a_test_tells_what_became_of_it(post: Post, opened: Opened) -> None:  # noqa: F811
    outlet = post.outlet()
    assert "The test was taken." in opened.wish(outlet, "test").text
    opened.asked.answer = Answer(False, "550 no such <b>box</b>")
    answer = opened.wish(outlet, "test")
    assert answer.status_code == 400
    assert "The test of the maker&#39;s was not taken: 550 no such &lt;b&gt;box&lt;/b&gt;." in answer.text
    assert opened.asked.tested == [outlet, outlet]


def test_one_is_switched_off_and_on(post: Post, opened: Opened) -> None:  # noqa: F811
    outlet = post.outlet()
    assert "It is switched off" in opened.wish(outlet, "off").text
    assert "Switched off: Somebody has switched it off." in opened.told()
    assert "It is switched on." in opened.wish(outlet, "on").text
    assert "Switched off:" not in opened.told()


def test_what_cannot_be_asked_is_refused_in_words(post: Post, opened: Opened) -> None:  # noqa: F811
    outlet = post.outlet()
    elsewhere = post.outlet(name="another", site="gull-cottage")
    assert "That cannot be asked of a way out." in opened.wish(outlet, "explode").text
    assert "There is no such dead letter." in opened.wish(outlet, "again").text
    assert opened.wish(elsewhere, "test").status_code == 404
    assert opened.wish(99, "test").status_code == 404
    assert opened.asked.tested == []


def test_every_word_is_in_the_readers_language(
    post: Post,  # noqa: F811
    opened: Opened,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """But for names, and for answers, which are the receivers' own."""
    outlet = post.outlet(
        kinds=["press", "visit", "unseen", "blind", "finding"], lowest="medium", quiet_from="22:00", quiet_until="07:00"
    )
    for digest in ("each", "hour", "day"):
        post.do(
            lambda work, digest=digest: work.put_outlet(read_outlet(MAIL | {"name": f"Ann{digest}", "digest": digest}))
        )
    post.do(lambda work: work.put_outlet(read_outlet({"name": "lamp", "way": "command", "program": "blink"})))
    post.do(
        lambda work: work.put_outlet(
            read_outlet({"name": "MQTT", "way": "mqtt", "person": "Ann", "away_lowest": "high", "site": SITE})
        )
    )
    post.ring("front")
    post.now_s = T0 + 5 * 86_400.0
    post.run(post.carrier(outlet, Receiver(down=True)), post.now_s + 3.0)
    post.ring("garden")
    known = Bracketed()
    language._resaid.cache_clear()
    language._patterns.cache_clear()
    monkeypatch.setattr(language, "catalogue", lambda _: known)
    named = re.compile(
        r"Bellcrank|Tern Cottage|Ann(each|hour|day)?|(ann@)?tern-cottage\.example|lamp|blink|MQTT|API|503 Service Unavailable|the maker.s"
    )
    for wish in ("", "off", "on", "hurried", "again", "test", "explode"):
        answer = (
            opened.client.post(
                f"/house/{SITE}/way-out/{outlet}", data={"wish": wish}, headers={"accept-language": "de"}
            )
            if wish
            else opened.client.get(SHEET, headers={"accept-language": "de"})
        )
        assert "⟦" in answer.text
        assert list(escaped(answer.text, named)) == [], wish
    language._resaid.cache_clear()
    language._patterns.cache_clear()
