"""What the embedded broker is told: the text of its configuration file, and why each figure is what it is.

Knows the configuration language of nats-server and refuses what that cannot hold. Touches no process, writes no file.
"""

from pathlib import Path

from service.errors import SettingError

LOG_NAME = "broker.log"


def broker_configuration(
    folder: Path,
    address: str,
    port: int,
    username: str | None = None,
    password: str | None = None,
    certificate: Path | None = None,
    key: Path | None = None,
) -> str:
    """The configuration file of a broker that keeps everything in `folder` and speaks MQTT at `address` and `port`.

    Raises
    ------
    SettingError : half a login, half a certificate, a file that cannot be read, a text that the file cannot hold.
    """
    if (username is None) != (password is None):
        raise SettingError("The broker needs a user name and a password, or neither.")
    if (certificate is None) != (key is None):
        raise SettingError("The broker needs a certificate and its key, or neither.")
    lines = [
        "# Written at each start by Bellcrank; changes are lost.",
        "server_name: bellcrank",
        # The broker's own protocol, which nobody uses: any free port of the loopback interface, never the network.
        'listen: "127.0.0.1:-1"',
        # The contract ends at 64 KiB. What is larger shall still arrive, to be kept with the reason for its refusal:
        # the broker would cut the connection instead, and the chime would send it again for ever.
        "max_payload: 1MB",
        f"log_file: {_quoted(str(folder / LOG_NAME))}",
        "logfile_size_limit: 1MB",
        "logfile_max_num: 3",
        "jetstream {",
        f"  store_dir: {_quoted(str(folder))}",
        # One fsync before each PUBACK (seen with strace). 3 k instead of 8 k messages/s, 0.7 instead of 0.5 ms here.
        "  sync_interval: always",
        "  max_memory_store: 64MB",
        # When it is full, publishes go unacknowledged and the chime keeps them; the disk is spared for the record.
        "  max_file_store: 1GB",
        "}",
        "mqtt {",
        f"  listen: {_quoted(authority(address, port))}",
        # Unlike MQTT [3.1.1, 4.4], nats-server sends an unacknowledged message again only after this long, on the same
        # connection as well as after a reconnect, always with DUP; so it is also how late the messages come that a
        # killed service left behind (30 s if not set). A copy on the same connection carries the packet identifier that
        # is still open there, so the subscriber can tell and drop it.
        '  ack_wait: "5s"',
        # 1024 if not set; room for acknowledgements that come in batches after a commit.
        "  max_ack_pending: 8192",
    ]
    if certificate and key:
        lines.append(f"  tls {{ cert_file: {_quoted(_readable(certificate))}, key_file: {_quoted(_readable(key))} }}")
    lines.append("}")
    if username is not None and password is not None:
        if not username or not password:
            raise SettingError("The broker's user name and password must not be empty.")
        if password.startswith("$2"):
            raise SettingError("The broker's password must not begin with '$2', which the broker takes for a hash.")
        lines.append(f"authorization {{ user: {_quoted(username)}, password: {_quoted(password)} }}")
    return "\n".join(lines) + "\n"


def authority(host: str, port: int) -> str:
    """`host:port`, with the brackets that IPv6 wants [RFC 3986, 3.2.2]."""
    return f"[{host}]:{port}" if ":" in host else f"{host}:{port}"


def _readable(path: Path) -> str:
    try:
        path.read_bytes()
    except OSError as error:
        raise SettingError(f"The broker's {path} cannot be read: {error.strerror or error}.") from error
    return str(path.resolve())


def _quoted(text: str) -> str:
    """A string of the broker's configuration language."""
    if any(ord(character) < 32 for character in text):
        raise SettingError(f"{text!r} has a control character, which the broker's configuration cannot hold.")
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'
