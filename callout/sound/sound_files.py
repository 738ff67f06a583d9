"""Sound files in and out: WAV or FLAC of any rate to 16 kHz mono int16, and FLAC for keeping.

A file is refused whole, with one plain error, rather than read in part. Deciding where speech
begins and ends is in `endpoint`; where a FLAC is stored is up to the journal.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import soundfile
import soxr  # type: ignore[import-untyped,unused-ignore]
from numpy.typing import NDArray

from callout.core.errors import OperatorError, ProgrammerError
from callout.sound.frames import (
    FRAME_SAMPLES,
    SAMPLE_RATE_HZ,
    Frame,
    Samples,
    frames_of,
    require_samples,
)
from callout.sound.riff import refuse_truncated_wav

LONGEST_READ_S = 3600.0
LONGEST_STREAM_S = 24 * 3600.0
_BLOCK_S = 1.0
_RATES_HZ = (8_000, 192_000)
_FORMATS = ("WAV", "WAVEX", "RF64", "FLAC")


def read_sound(path: Path | str, longest_s: float = LONGEST_READ_S) -> Samples:
    """The whole file as 16 kHz mono int16, shape (n,).

    Raises OperatorError if the file is missing, empty, truncated, damaged, not WAV or FLAC, has
    more than two channels, or lasts more than `longest_s` seconds.
    """
    return np.concatenate(list(_blocks_at_16k(Path(path), longest_s)))


def stream_sound(path: Path | str, longest_s: float = LONGEST_STREAM_S) -> Iterator[Frame]:
    """The file as frames, holding about a second of it in memory at a time.

    Same errors as `read_sound`. A WAV is judged by its header before the first frame; damage
    inside a FLAC shows only when it is reached.
    """
    left = np.zeros(0, dtype=np.int16)
    done = 0
    for block in _blocks_at_16k(Path(path), longest_s):
        left = np.concatenate([left, block])
        whole = left.size - left.size % FRAME_SAMPLES
        for frame in frames_of(left[:whole]):
            yield Frame(frame.samples, done / SAMPLE_RATE_HZ)
            done += FRAME_SAMPLES
        left = left[whole:]
    yield from frames_of(left, done / SAMPLE_RATE_HZ)


def encode_flac(samples: Samples) -> bytes:
    """16-bit, 16 kHz mono FLAC. The same samples give the same bytes with the same libsndfile."""
    require_samples(samples)
    if samples.size == 0:
        raise ProgrammerError("There is no sound to keep: the array is empty.")
    memory = io.BytesIO()
    soundfile.write(memory, samples, SAMPLE_RATE_HZ, format="FLAC", subtype="PCM_16")
    return memory.getvalue()


def decode_flac(data: bytes) -> Samples:
    """The samples of what `encode_flac` made. Raises OperatorError if damaged or another shape."""
    try:
        samples, rate_hz = soundfile.read(io.BytesIO(data), dtype="int16")
    except soundfile.SoundFileError as error:
        raise OperatorError(f"The kept sound ({len(data)} bytes) is damaged: {error}") from None
    if rate_hz != SAMPLE_RATE_HZ or samples.ndim != 1:
        raise OperatorError(f"The kept sound is not 16 kHz mono: {rate_hz} Hz, {samples.shape}.")
    flat: Samples = samples
    return flat


def _blocks_at_16k(path: Path, longest_s: float) -> Iterator[Samples]:
    """Resampled blocks; at least one, none empty in total."""
    _refuse_no_file(path)
    try:
        refuse_truncated_wav(path)
        with soundfile.SoundFile(path) as file:
            _refuse_shape(path, file, longest_s)
            yield from _resampled(path, file)
    except soundfile.SoundFileError:
        raise OperatorError(
            f"{path} is not a sound file that can be read, or it is damaged. "
            "Give a whole WAV or FLAC file."
        ) from None
    except OSError as error:
        raise OperatorError(f"{path} cannot be read: {error.strerror or error}.") from None


def _refuse_no_file(path: Path) -> None:
    if not path.exists():
        raise OperatorError(f"There is no file {path}; check the name.")
    if not path.is_file():
        raise OperatorError(f"{path} is not a file; give a WAV or FLAC file.")
    if path.stat().st_size == 0:
        raise OperatorError(f"{path} is empty (0 bytes); record or copy it again.")


def _refuse_shape(path: Path, file: soundfile.SoundFile, longest_s: float) -> None:
    if file.format not in _FORMATS:
        raise OperatorError(f"{path} is {file.format}; only WAV and FLAC are read. Convert it.")
    if file.channels > 2:
        raise OperatorError(f"{path} has {file.channels} channels; only one or two are read.")
    low, high = _RATES_HZ
    if not low <= file.samplerate <= high:
        raise OperatorError(
            f"{path} is sampled at {file.samplerate} Hz; from {low} to {high} Hz is read."
        )
    if file.frames <= 0:
        raise OperatorError(f"{path} holds no sound; record it again.")
    lasts_s = file.frames / file.samplerate
    if lasts_s > longest_s:
        raise OperatorError(
            f"{path} lasts {lasts_s:.0f} s and the limit is {longest_s:.0f} s. "
            "Cut it, or raise the limit."
        )


def _resampled(path: Path, file: soundfile.SoundFile) -> Iterator[Samples]:
    """In floats up to the last rounding, so that every bit depth takes one path."""
    stream = soxr.ResampleStream(file.samplerate, SAMPLE_RATE_HZ, 1, dtype="float32")
    block_frames = int(file.samplerate * _BLOCK_S)
    read = 0
    while read < file.frames:
        block = file.read(block_frames, dtype="float32", always_2d=True)
        if len(block) == 0:
            raise OperatorError(
                f"{path} is cut short: it promises {file.frames} samples and holds {read}."
            )
        read += len(block)
        mono = block.mean(axis=1, dtype=np.float32)
        if not np.isfinite(mono).all():
            raise OperatorError(f"{path} holds values that are not sound (not finite).")
        yield _to_int16(stream.resample_chunk(mono, last=read >= file.frames))


def _to_int16(floats: NDArray[np.float32]) -> Samples:
    whole: Samples = np.clip(np.rint(floats * 32768.0), -32768, 32767).astype(np.int16)
    return whole
