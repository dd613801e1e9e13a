"""Whatever an instrument writes is read, or refused in a sentence that helps."""

import io
import wave
import zipfile

import numpy as np
import pytest

from service.errors import SettingError
from service.scope.capture import NoWaveform
from service.scope.capture_file import read_capture
from service.scope.naming import POINTS
from service.scope.told import look, shown, told
from tests.scope.dialects import DIALECTS, FULL_SCALE_V

STEP_S = 1e-4
AT = np.arange(1000) * STEP_S - 0.02
VOLTS = 17.0 * np.sin(2.0 * np.pi * 50.0 * AT)


@pytest.mark.parametrize("name", DIALECTS)
def test_each_way_of_writing_gives_the_same_samples(name: str) -> None:
    found = read_capture(DIALECTS[name](AT, VOLTS, STEP_S), full_scale_v=FULL_SCALE_V)
    assert found.step_s == pytest.approx(STEP_S, rel=1e-4)
    assert len(found.traces[0].volts) == 1000
    assert found.traces[0].volts == pytest.approx(VOLTS, abs=2e-3)
    assert len(found.traces) == (2 if name in ("millivolts_tabs", "sound") else 1)


def test_channels_have_the_names_of_their_heads() -> None:
    found = read_capture(DIALECTS["millivolts_tabs"](AT, VOLTS, STEP_S))
    assert [trace.name for trace in found.traces] == ["CH1", "CH2"]
    assert found.trace("CH2").volts.max() < 0.001
    assert found.trace("2") is found.traces[1]
    with pytest.raises(SettingError, match="it has CH1, CH2"):
        found.trace("CH3")


def test_samples_that_left_the_screen_are_counted() -> None:
    rows = [f"{t:.5f},{'inf' if abs(v) > 16.9 else f'{v:.3f}'}" for t, v in zip(AT, VOLTS, strict=True)]
    found = look("\n".join(["s,V", *rows]).encode(), "transformer")
    assert found.trace.lost > 0
    assert any("no numbers" in said for said in found.said)
    with pytest.raises(NoWaveform, match="more volts per division"):
        look(
            "\n".join(f"{t:.5f},{'inf' if abs(v) > 8 else f'{v:.3f}'}" for t, v in zip(AT, VOLTS, strict=True)).encode()
        )


def test_uneven_samples_are_drawn_anew() -> None:
    kept = np.flatnonzero(np.random.default_rng(3).random(1000) > 0.2)
    text = "\n".join(f"{AT[n]:.6f};{VOLTS[n]:.4f}" for n in kept).encode()
    found = look(text, "transformer")
    assert any("evenly" in said for said in found.said)
    assert found.seen[0].named.figures.mains_hz == pytest.approx(50.0, rel=1e-3)


def test_a_step_can_be_given() -> None:
    text = "\n".join(f"{v:.4f}" for v in VOLTS).encode()
    with pytest.raises(NoWaveform, match="give the step"):
        read_capture(text)
    assert look(text, step_s=STEP_S).seen[0].named.figures.mains_hz == pytest.approx(50.0, rel=1e-3)


def _packed() -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as file:
        file.writestr("sheet.xml", "<x/>")
    return buffer.getvalue()


def _short_sound() -> bytes:
    buffer = io.BytesIO()
    with wave.open(buffer, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(48_000)
        file.writeframes(b"\x00\x00" * 10)
    return buffer.getvalue()


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        (b"", "is empty"),
        (b" \r\n\x00", "is empty"),
        (b"\x89PNG\r\n\x1a\n123", "picture"),
        (b"%PDF-1.7", "PDF"),
        (_packed(), "spreadsheet"),
        (b"RIFF\x00\x00\x00\x00WAVEjunk", "cannot be read"),
        (_short_sound(), "only 10 samples"),
        (b"Dear Sir or Madam,\nthe bell does not ring.\n", "no column of numbers"),
        (b"time,volts\n" + b"0.1,1\n" * 20, "only 20 lines"),
        (bytes(range(1, 256)) + bytes(300) * 20, "binary"),
        ("\n".join(f"{n / 1000}" for n in range(40)).encode(), "how far apart"),
        ("\n".join("0.5,1.0" for _ in range(60)).encode(), "how far apart"),
        (b'{"a": [1, 2]}', "JSON"),
    ],
)
def test_what_is_no_waveform_gets_a_sentence(data: bytes, sentence: str) -> None:
    with pytest.raises(SettingError, match=sentence) as refused:
        look(data, "terminal")
    assert str(refused.value).endswith(".")
    assert len(str(refused.value)) < 300


def test_too_large_a_file_is_refused_before_it_is_read() -> None:
    with pytest.raises(NoWaveform, match="save fewer points"):
        read_capture(b"1,2\n" * 6_000_000)


def test_a_press_within_the_capture_parts_it() -> None:
    """Half-wave, then the full sine: at rest, then pressed. The detector's pulses begin with it."""
    at = np.arange(5000) * STEP_S
    sine = 17.0 * np.sin(2.0 * np.pi * 50.0 * at)
    terminal = np.where(at < 0.25, np.maximum(sine, 0.0), sine)
    found = look(_csv(at, terminal), "terminal")
    assert [part.named.pressed for part in found.seen] == ["at rest", "pressed"]
    assert found.seen[0].named.end_s == pytest.approx(0.25, abs=0.045)
    detector = np.where((at > 0.25) & (sine < -3.0), 0.2, 5.0)
    seen = look(_csv(at, detector), "detector").seen
    assert [part.named.pressed for part in seen] == ["at rest", "pressed"]
    assert seen[1].named.figures.pulses_per_cycle == 1.0


def test_a_lamp_across_the_button_is_not_taken_for_a_press() -> None:
    """The supply's half is whole but for its flattened top; of the other a part comes through the lamp."""
    at = np.arange(2000) * STEP_S
    sine = 17.0 * np.sin(2.0 * np.pi * 50.0 * at)
    lamp = np.where(sine > 0.0, np.minimum(sine, 14.5), 0.4 * sine)
    named = look(_csv(at, lamp), "terminal").seen[0].named
    assert (named.shape, named.pressed) == ("uneven sine", "at rest")
    loaded = np.where(sine > 0.0, np.minimum(sine, 8.0), sine)
    named = look(_csv(at, loaded), "terminal").seen[0].named
    assert (named.shape, named.pressed) == ("uneven sine", "pressed")


def test_without_a_point_it_is_said_where_such_a_picture_is_usual() -> None:
    assert look(_csv(AT, VOLTS)).possible == ("transformer", "terminal")
    assert look(_csv(AT, np.maximum(VOLTS, 0.0))).possible == ("terminal",)
    assert look(_csv(AT, 15.0 + 0.3 * np.sin(100.0 * np.pi * AT))).possible == ("rectifier",)
    assert look(_csv(AT, np.full(1000, 5.0))).possible == ("regulated", "detector")
    with pytest.raises(SettingError, match="no point of the circuit"):
        look(_csv(AT, VOLTS), "mains")
    assert set(POINTS) >= {"transformer", "terminal"}


def test_noise_is_named_as_nothing() -> None:
    noise = np.random.default_rng(5).normal(0.0, 0.5, 4000)
    found = look(_csv(np.arange(4000) * STEP_S, noise), "terminal")
    assert found.seen[0].named.shape == "none of these"
    assert any("probe" in said for said in found.said)


def test_a_sine_s_figures_are_the_closed_form() -> None:
    """rms = peak / sqrt 2; half-wave: mean = peak / pi, rms = peak / 2 (any power-electronics handbook); rise of a sine from 10 to 90 % of
    its height: (2 / 2 pi) asin 0.8 periods."""
    figures = look(_csv(AT, VOLTS), "transformer").seen[0].named.figures
    assert figures.rms_v == pytest.approx(17.0 / np.sqrt(2.0), rel=2e-3)
    assert figures.mean_v == pytest.approx(0.0, abs=0.02)
    assert figures.rise_s == pytest.approx(np.arcsin(0.8) / np.pi / 50.0, rel=0.02)
    half = look(_csv(AT, np.maximum(VOLTS, 0.0)), "terminal").seen[0].named.figures
    assert half.mean_v == pytest.approx(17.0 / np.pi, rel=3e-3)
    assert half.rms_v == pytest.approx(8.5, rel=3e-3)


def test_a_drawing_keeps_every_extreme() -> None:
    spike = VOLTS.copy()
    spike[501] = 40.0
    at = np.arange(20_000) * STEP_S
    found = shown(look(_csv(at, np.tile(spike, 20)), "transformer"))
    assert len(found["volts"]) <= 1200
    assert max(found["volts"]) == 40.0


def test_the_answer_is_json_with_a_caution() -> None:
    answer = told(look(_csv(AT, VOLTS), "transformer"))
    assert answer["stretches"][0]["shape"] == "full sine"
    assert "mains side" in answer["caution"]


def _csv(at: np.ndarray, volts: np.ndarray) -> bytes:
    return ("time (s),volts (V)\n" + "".join(f"{t:.6f},{v:.5f}\n" for t, v in zip(at, volts, strict=True))).encode()
