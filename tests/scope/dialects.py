"""Ways in which instruments write a waveform, of our own drawing: the same samples in each."""

import io
import wave
from collections.abc import Callable

import numpy as np

Writer = Callable[[np.ndarray, np.ndarray, float], bytes]


def plain(at: np.ndarray, volts: np.ndarray, step: float) -> bytes:
    """A head of two names."""
    return ("time,volts\n" + "".join(f"{t:.8f},{v:.5f}\n" for t, v in zip(at, volts, strict=True))).encode()


def decimal_commas(at: np.ndarray, volts: np.ndarray, step: float) -> bytes:
    """Semicolons, decimal commas, names and units in rows of their own, Windows line ends, Latin letters."""
    head = "Zeit;Kanal A\r\n(ms);(V)\r\n\r\n"
    rows = "".join(f"{t * 1e3:.6f};{v:.6f}\r\n".replace(".", ",") for t, v in zip(at, volts, strict=True))
    return ("Messung Tür\r\n" + head + rows).encode("latin-1")


def preamble_beside(at: np.ndarray, volts: np.ndarray, step: float) -> bytes:
    """A head beside the first rows of numbers, in columns of its own; quotation marks; a sign at the end of each row."""
    head = [
        '"Record Length",2500,"Points"',
        f'"Sample Interval",{step:.6E},s',
        '"Trigger Point",0,"Samples"',
        '"Source","1",',
        '"Vertical Units","V",',
    ]
    rows = []
    for number, (t, v) in enumerate(zip(at, volts, strict=True)):
        left = head[number] if number < len(head) else ",,"
        rows.append(f"{left},{t:+.9E},{v:+.6E},")
    return "\r\n".join(rows).encode()


def counted(at: np.ndarray, volts: np.ndarray, step: float) -> bytes:
    """Sample numbers instead of times; start and increment stand in the head."""
    head = f"X,CH1,Start,Increment\nSequence,Volt,{at[0]:.6e},{step:.6e}\n"
    return (head + "".join(f"{n},{v:.4e},\n" for n, v in enumerate(volts))).encode()


def millivolts_tabs(at: np.ndarray, volts: np.ndarray, step: float) -> bytes:
    """Tabs, microseconds and millivolts in the names, a byte order mark, two channels of which the second is quiet."""
    head = "Time [us]\tCH1 [mV]\tCH2 [mV]\n"
    rows = "".join(
        f"{t * 1e6:.2f}\t{v * 1e3:.2f}\t{0.3 * (n % 3):.2f}\n" for n, (t, v) in enumerate(zip(at, volts, strict=True))
    )
    return b"\xef\xbb\xbf" + (head + rows).encode()


def volts_only(at: np.ndarray, volts: np.ndarray, step: float) -> bytes:
    """One column, and a preamble that tells the rate; some samples left the screen."""
    lines = [
        "# invented instrument",
        "Model: none",
        f"Sampling rate: {1.0 / step / 1e3:.6f} kSa/s",
        "Coupling: DC",
        "Probe: x10",
        "V",
    ]
    return "\n".join([*lines, *(f"{v:.4f}" for v in volts), ""]).encode()


def wide_text(at: np.ndarray, volts: np.ndarray, step: float) -> bytes:
    """Columns parted by spaces, two-byte letters."""
    rows = "".join(f"{t:16.9e}   {v:12.5e}\r\n" for t, v in zip(at, volts, strict=True))
    return ("     Time(s)        Volt(V)\r\n" + rows).encode("utf-16")


def quoted_commas(at: np.ndarray, volts: np.ndarray, step: float) -> bytes:
    """Commas part the columns and the decimals, in quotation marks."""

    def figure(value: float) -> str:
        return '"' + f"{value:.7f}".replace(".", ",") + '"'

    rows = "".join(f"{n},{figure(t)},{figure(v)}\n" for n, (t, v) in enumerate(zip(at, volts, strict=True)))
    return ('"Sample","Time (s)","Voltage (V)"\n' + rows).encode()


def sound(at: np.ndarray, volts: np.ndarray, step: float) -> bytes:
    """WAV, 16 bits, 50 V full scale, two channels of which the right one is quiet."""
    buffer = io.BytesIO()
    with wave.open(buffer, "wb") as file:
        file.setnchannels(2)
        file.setsampwidth(2)
        file.setframerate(round(1.0 / step))
        codes = np.zeros((len(volts), 2), dtype="<i2")
        codes[:, 0] = np.clip(np.round(volts / FULL_SCALE_V * 32767), -32767, 32767)
        file.writeframes(codes.tobytes())
    return buffer.getvalue()


FULL_SCALE_V = 50.0
DIALECTS: dict[str, Writer] = {
    one.__name__: one
    for one in (
        plain,
        decimal_commas,
        preamble_beside,
        counted,
        millivolts_tabs,
        volts_only,
        wide_text,
        quoted_commas,
        sound,
    )
}
