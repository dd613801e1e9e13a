"""Bytes to a capture: text of columns or a sound file, told apart by how they begin. What is neither gets a sentence that helps."""

from service.scope.capture import Capture, NoWaveform
from service.scope.columns import read_columns
from service.scope.sound import read_sound

SIZE_LIMIT = 20_000_000
"""Of a file [bytes]: some 800,000 lines of time and volts, more than a capture of a bell circuit needs."""

OTHERS = (
    (b"\x89PNG", "a picture (PNG)"),
    (b"\xff\xd8\xff", "a picture (JPEG)"),
    (b"GIF8", "a picture (GIF)"),
    (b"BM", "a picture (BMP)"),
    (b"%PDF", "a PDF"),
    (b"PK\x03\x04", "a packed file or a spreadsheet"),
    (b"\xd0\xcf\x11\xe0", "a spreadsheet"),
    (b"\x1f\x8b", "a compressed file"),
    (b"ID3", "a compressed sound file"),
    (b"OggS", "a compressed sound file"),
    (b"{", "JSON"),
    (b"<", "a page or XML"),
)
"""How common files begin (IANA's media types and their registrations, from memory)."""


def read_capture(data: bytes, step_s: float | None = None, full_scale_v: float | None = None) -> Capture:
    """Raises NoWaveform with a sentence.

    Parameters
    ----------
    step_s : from sample to sample [s], where the text does not tell.
    full_scale_v : volts at the full scale of a sound file.
    """
    if not data.strip(b"\x00 \t\r\n"):
        raise NoWaveform("The file is empty.")
    if len(data) > SIZE_LIMIT:
        raise NoWaveform(
            f"The file has {len(data) / 1e6:.0f} MB; at most {SIZE_LIMIT / 1e6:.0f} MB are read. "
            "A tenth of a second is enough: save fewer points."
        )
    if data[:4] == b"RIFF" or data[:4] == b"RF64":
        return read_sound(data, full_scale_v)
    for begin, what in OTHERS:
        if data.startswith(begin) and not (begin == b"BM" and data[2:40].isascii()):
            raise NoWaveform(f"The file is {what}, not a waveform. Save the trace as CSV (time and volts) or as WAV.")
    return read_columns(text_of(data), step_s)


def text_of(data: bytes) -> str:
    """By its byte order mark (Unicode 16, 2.6), else UTF-8, else the Latin letters of older instruments."""
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return data.decode("utf-16", errors="replace")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("latin-1")
    if text.count("\x00") > 0.01 * len(text):
        raise NoWaveform(
            "The file is binary, in an instrument's own form. Save the trace as CSV (time and volts) or as WAV."
        )
    return text
