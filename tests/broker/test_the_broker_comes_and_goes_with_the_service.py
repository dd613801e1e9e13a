"""The embedded broker starts at once or says in one sentence why not, and never stays behind."""

import contextlib
import os
import select
import socket
import subprocess
import sys

import pytest

import adapters.broker
from adapters.broker import broker_binary
from service.errors import SettingError


def test_a_taken_port_is_told_with_the_way_out(make_broker):
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        with pytest.raises(SettingError, match=rf"port {port} \(Address already in use\).*--mqtt PORT.*--broker URL"):
            make_broker(port=port).start()


def test_a_folder_that_cannot_be_made_is_named(make_broker, tmp_path):
    (tmp_path / "broker").write_text("a file where the folder should be")
    with pytest.raises(SettingError, match=rf"{tmp_path}/broker cannot be used: File exists"):
        make_broker().start()


def test_a_platform_without_the_binary_is_sent_to_another_broker(make_broker, monkeypatch):
    monkeypatch.setattr(adapters.broker, "broker_binary", lambda: None)
    with pytest.raises(SettingError, match="--broker URL"):
        make_broker().start()


def test_what_the_broker_itself_refuses_is_passed_on(make_broker, tmp_path):
    (tmp_path / "not.pem").write_text("not a certificate")
    broker = make_broker(certificate=tmp_path / "not.pem", key=tmp_path / "not.pem")
    with pytest.raises(SettingError, match=r"ended at once; it said: .*certificate"):
        broker.start()
    assert broker.process is None


def test_a_data_folder_serves_one_process_at_a_time(make_broker):
    first, second = make_broker(), make_broker()
    first.start()
    with pytest.raises(SettingError, match="Another Bellcrank is running"):
        second.start()
    assert first.process.poll() is None
    first.stop()
    second.start()


def test_stop_ends_the_process_and_frees_the_port(make_broker):
    broker = make_broker()
    broker.start()
    process = broker.process
    broker.stop()
    assert process.poll() is not None
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection(("127.0.0.1", broker.port))
    broker.stop()  # once more is harmless


def test_ctrl_c_in_the_terminal_does_not_reach_it(make_broker):
    broker = make_broker()
    broker.start()
    assert os.getsid(broker.process.pid) != os.getsid(0)


def test_only_the_asked_port_is_open_to_others(make_broker):
    broker = make_broker()
    broker.start()
    assert broker.url == f"mqtt://127.0.0.1:{broker.port}"
    text = (broker.folder / "broker.conf").read_text()
    assert 'listen: "127.0.0.1:-1"' in text
    assert "http" not in text


@pytest.mark.parametrize(
    ("address", "url"), [("0.0.0.0", "mqtt://127.0.0.1:{}"), ("::1", "mqtt://[::1]:{}"), ("::", "mqtt://[::1]:{}")]
)
def test_the_url_is_one_that_a_client_here_can_use(make_broker, address, url):
    broker = make_broker(address=address, port=1883)
    assert broker.url == url.format(1883)  # 1883: IANA's port for mqtt


SERVICE = """
import sys, time
from pathlib import Path
from adapters.broker import EmbeddedBroker
broker = EmbeddedBroker(Path(sys.argv[1]), 0)
broker.start()
print(broker.process.pid, flush=True)
sys.stdin.read()
"""


if sys.platform == "linux":  # elsewhere the next start ends what was left, see below

    def test_a_killed_service_takes_its_broker_with_it(tmp_path):
        with subprocess.Popen(
            [sys.executable, "-c", SERVICE, str(tmp_path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE
        ) as service:
            pid = int(service.stdout.readline())
            watch = os.pidfd_open(pid)  # readable when the process ends
            service.kill()
        try:
            ended, _, _ = select.select([watch], [], [], 10.0)
            assert ended
        finally:
            os.close(watch)


def test_a_leftover_is_replaced(make_broker):
    broker = make_broker()
    broker.start()
    configuration = broker.folder / "broker.conf"
    broker.stop()
    with subprocess.Popen([broker_binary(), "--config", configuration]) as leftover:
        (broker.folder / "broker.pid").write_text(str(leftover.pid))
        answers = False
        while leftover.poll() is None and not answers:
            with contextlib.suppress(ConnectionRefusedError), socket.create_connection(("127.0.0.1", broker.port)):
                answers = True
        broker.start()
        assert leftover.wait(10.0) is not None
    assert broker.process.poll() is None


def test_a_stranger_with_the_number_of_a_leftover_is_left_alone(make_broker):
    broker = make_broker()
    broker.start()
    broker.stop()
    with subprocess.Popen([sys.executable, "-c", "input()"], stdin=subprocess.PIPE) as stranger:
        (broker.folder / "broker.pid").write_text(str(stranger.pid))
        broker.start()
        assert stranger.poll() is None
        stranger.communicate(b"\n")
    assert stranger.returncode == 0
