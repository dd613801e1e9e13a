"""A waveform out of a sound file (WAV), as a sound card or an instrument with a sound output records it."""

from io import BytesIO

import numpy as np

from service.scope.capture import FEWEST, Capture, NoWaveform, Trace

AC_COUPLED = "A sound card lets no direct voltage through: means, and what lies flat, are not told by its recording."


def read_sound(data: bytes, full_scale_v: float | None = None) -> Capture:
    """Parameters
    ----------
    full_scale_v : volts at full scale; None: unknown, so that only shapes and times are told.
    """
    import soundfile  # type: ignore[import-untyped]  # brings a library of its own: loaded only for such a file

    try:
        with soundfile.SoundFile(BytesIO(data)) as file:
            rate, samples = file.samplerate, file.read(dtype="float64", always_2d=True)
    except (soundfile.LibsndfileError, RuntimeError, TypeError) as error:
        raise NoWaveform(
            f"The sound file cannot be read ({str(error).rstrip('.')}); save it as WAV with PCM samples."
        ) from None
    if len(samples) < FEWEST:
        raise NoWaveform(f"The sound file has only {len(samples)} samples; a waveform needs at least {FEWEST}.")
    scale = full_scale_v or 1.0
    names = ["left", "right"] if samples.shape[1] == 2 else [f"channel {n}" for n in range(1, samples.shape[1] + 1)]
    traces = [
        Trace(name, np.ascontiguousarray(samples[:, n]) * scale, 0, full_scale_v is not None)
        for n, name in enumerate(names)
    ]
    said = (
        [] if full_scale_v else ["Nobody said how many volts are full scale, so heights are shares of it, not volts."]
    )
    if np.all(np.abs(samples.mean(axis=0)) < 1e-3):
        said.append(AC_COUPLED)
    if np.mean(np.abs(samples) >= 0.9999) > 0.01:
        said.append("The recording is clipped: record again with less gain.")
    return Capture(tuple(traces), 1.0 / rate, 0.0, tuple(said))
