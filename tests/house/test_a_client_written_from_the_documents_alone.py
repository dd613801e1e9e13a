"""Promise: whoever has only our AsyncAPI document receives a press, and can check it.

Server, topic and schema all come out of the document; nothing else of Bellcrank is known here but how to press the demo's button.
"""

import json
import queue
import subprocess
from typing import Any

import jsonschema_rs
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

from tests.house.conftest import Running, command

WITHIN_S = 20.0


def test_a_press_is_received_and_fits_what_was_promised(demo: Running) -> None:
    document = json.loads(demo.get("/api/v1/asyncapi.json"))
    server = document["servers"]["broker"]
    assert server["protocol"] == "mqtt"
    host, _, port = server["host"].partition(":")
    (told,) = [
        document["channels"][operation["channel"]["$ref"].rpartition("/")[2]]
        for operation in document["operations"].values()
        if operation["action"] == "send" and operation["channel"]["$ref"].endswith("event")
    ]
    topic = told["address"]
    for name in told["parameters"]:
        topic = topic.replace(f"{{{name}}}", "+")
    payload = document["components"]["messages"]["press"]["payload"]
    schema = jsonschema_rs.Draft202012Validator({**payload, "components": document["components"]})
    arrived: queue.Queue[Any] = queue.Queue()
    subscribed: queue.Queue[None] = queue.Queue()
    client = Client(CallbackAPIVersion.VERSION2)
    client.on_message = lambda _client, _data, message: arrived.put(json.loads(message.payload))
    client.on_subscribe = lambda *_: subscribed.put(None)
    client.connect(host, int(port))
    client.subscribe(topic, qos=1)
    client.loop_start()
    try:
        subscribed.get(timeout=WITHIN_S)
        subprocess.run(
            command("press", "front", "--for", "0.4", "--data", str(demo.data)), check=True, timeout=WITHIN_S
        )
        found = arrived.get(timeout=WITHIN_S)
        # what else happens at the house meanwhile; and a press is told at its first pulse, and again as it goes on
        while not schema.is_valid(found) or found["data"]["door"] != "front" or found["data"]["pulses"] < 10:
            found = arrived.get(timeout=WITHIN_S)
    finally:
        client.disconnect()
        client.loop_stop()
    assert found["data"]["pulses"] <= 30  # 0.4 s at 50 Hz
