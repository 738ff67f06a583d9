"""Reading and keeping sound files. Outside checks: libsndfile writes, soxr and numpy judge."""

from __future__ import annotations

import struct
from pathlib import Path

import numpy as np
import pytest
import soundfile

from callout.core.errors import OperatorError, ProgrammerError
from callout.sound.frames import FRAME_SAMPLES, SAMPLE_RATE_HZ, Samples, frames_of, level_dbfs
from callout.sound.sound_files import decode_flac, encode_flac, read_sound, stream_sound


def tone(hz: float, seconds: float, rate_hz: int, peak: float = 0.5) -> np.ndarray:
    time = np.arange(round(seconds * rate_hz)) / rate_hz
    return peak * np.sin(2 * np.pi * hz * time)


def strongest_hz(samples: Samples) -> float:
    spectrum = np.abs(np.fft.rfft(samples * np.hanning(samples.size)))
    return float(np.argmax(spectrum) * SAMPLE_RATE_HZ / samples.size)


@pytest.mark.parametrize("rate_hz", [8_000, 11_025, 16_000, 22_050, 44_100, 48_000, 96_000])
@pytest.mark.parametrize("kind", ["wav", "flac"])
def test_any_rate_becomes_16_khz_at_the_same_pitch_length_and_level(
    tmp_path: Path, rate_hz: int, kind: str
) -> None:
    path = tmp_path / f"sound.{kind}"
    soundfile.write(path, tone(1000, 2.0, rate_hz), rate_hz, subtype="PCM_16")
    samples = read_sound(path)
    assert samples.dtype == np.int16
    assert abs(samples.size - 2 * SAMPLE_RATE_HZ) <= 2
    assert abs(strongest_hz(samples) - 1000) < 1
    # A sine of peak 0.5: 20 log10(0.5 / sqrt 2), plain arithmetic.
    assert level_dbfs(samples) == pytest.approx(-9.03, abs=0.1)


@pytest.mark.parametrize("subtype", ["PCM_U8", "PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE"])
def test_any_depth_is_read(tmp_path: Path, subtype: str) -> None:
    path = tmp_path / "depth.wav"
    soundfile.write(path, tone(700, 0.5, 16_000), 16_000, subtype=subtype)
    assert level_dbfs(read_sound(path)) == pytest.approx(-9.03, abs=0.1)


def test_16_bit_at_16_khz_comes_through_bit_for_bit(tmp_path: Path) -> None:
    noise = np.random.default_rng(4).integers(-32768, 32767, 16_000).astype(np.int16)
    soundfile.write(tmp_path / "same.wav", noise, 16_000)
    assert np.array_equal(read_sound(tmp_path / "same.wav"), noise)


def test_stereo_is_mixed_down(tmp_path: Path) -> None:
    left, right = tone(500, 1, 16_000, 0.4), tone(500, 1, 16_000, 0.2)
    soundfile.write(tmp_path / "two.wav", np.stack([left, right], axis=1), 16_000)
    assert np.abs(read_sound(tmp_path / "two.wav")).max() == pytest.approx(0.3 * 32768, abs=2)


@pytest.mark.parametrize("kind", ["RF64", "WAVEX", "WAV"])
def test_wav_variants_are_read(tmp_path: Path, kind: str) -> None:
    soundfile.write(tmp_path / "v.wav", tone(500, 0.5, 16_000), 16_000, format=kind)
    assert read_sound(tmp_path / "v.wav").size == 8_000


def test_streaming_gives_the_same_sound_as_reading(tmp_path: Path) -> None:
    noise = np.random.default_rng(1).normal(0, 0.1, 44_100 * 3 + 77)
    soundfile.write(tmp_path / "long.flac", noise, 44_100)
    frames = list(stream_sound(tmp_path / "long.flac"))
    whole = read_sound(tmp_path / "long.flac")
    joined = np.concatenate([frame.samples for frame in frames])
    assert np.array_equal(joined[: whole.size], whole)
    assert not joined[whole.size :].any() and joined.size - whole.size < FRAME_SAMPLES
    starts = [frame.start_s for frame in frames]
    assert starts == pytest.approx([0.03 * n for n in range(len(frames))])


@pytest.mark.parametrize("kept", [0.1, 0.5, 0.9, 0.999])
@pytest.mark.parametrize("kind", ["wav", "flac", "rf64"])
def test_a_file_cut_short_is_refused(tmp_path: Path, kind: str, kept: float) -> None:
    path = tmp_path / f"cut.{kind}"
    noise = np.random.default_rng(2).normal(0, 0.1, 16_000)
    soundfile.write(path, noise, 16_000, format=kind.upper())
    whole = path.read_bytes()
    path.write_bytes(whole[: int(len(whole) * kept)])
    with pytest.raises(OperatorError, match=r"cut short|damaged"):
        read_sound(path)
    with pytest.raises(OperatorError, match=r"cut short|damaged"):
        list(stream_sound(path))


@pytest.mark.parametrize("stated", [0, 0xFFFFFFFF])
def test_a_wav_never_finished_is_refused(tmp_path: Path, stated: int) -> None:
    path = tmp_path / "open.wav"
    soundfile.write(path, tone(500, 0.5, 16_000), 16_000, subtype="PCM_16")
    data = bytearray(path.read_bytes())
    at = data.index(b"data") + 4
    data[at : at + 4] = struct.pack("<I", stated)
    path.write_bytes(data)
    with pytest.raises(OperatorError, match="never finished"):
        read_sound(path)


def test_every_cut_of_a_small_wav_is_read_whole_or_refused(tmp_path: Path) -> None:
    path = tmp_path / "byte.wav"
    soundfile.write(path, tone(500, 0.01, 16_000), 16_000, subtype="PCM_16")
    whole = path.read_bytes()
    for kept in range(len(whole)):
        path.write_bytes(whole[:kept])
        with pytest.raises(OperatorError):
            read_sound(path)
    path.write_bytes(whole)
    assert read_sound(path).size == 160


def test_damage_inside_a_flac_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "bad.flac"
    soundfile.write(path, np.random.default_rng(3).normal(0, 0.1, 16_000), 16_000)
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 0xFF
    path.write_bytes(data)
    with pytest.raises(OperatorError, match="damaged"):
        read_sound(path)


def test_what_is_not_sound_is_refused_by_name(tmp_path: Path) -> None:
    (tmp_path / "empty.wav").touch()
    (tmp_path / "note.wav").write_text("tree 83, 24.6 in")
    soundfile.write(tmp_path / "none.wav", np.zeros(0), 16_000)
    soundfile.write(tmp_path / "four.wav", np.zeros((160, 4)), 16_000)
    soundfile.write(tmp_path / "other.aiff", np.zeros(160), 16_000)
    soundfile.write(tmp_path / "slow.wav", np.zeros(160), 4_000)
    soundfile.write(tmp_path / "nan.wav", np.full(160, np.nan), 16_000, subtype="FLOAT")
    said = {
        "empty.wav": "0 bytes",
        "note.wav": "not a sound file",
        "none.wav": "no sound",
        "four.wav": "4 channels",
        "other.aiff": "AIFF",
        "slow.wav": "4000 Hz",
        "nan.wav": "not finite",
        "absent.wav": "no file",
        ".": "not a file",
    }
    for name, words in said.items():
        with pytest.raises(OperatorError, match=words) as error:
            read_sound(tmp_path / name)
        assert str(tmp_path / name) in str(error.value)


def test_the_longest_allowed_is_settable(tmp_path: Path) -> None:
    soundfile.write(tmp_path / "s.wav", np.zeros(32_000), 16_000)
    assert read_sound(tmp_path / "s.wav", longest_s=2.0).size == 32_000
    with pytest.raises(OperatorError, match=r"limit is 1 s"):
        read_sound(tmp_path / "s.wav", longest_s=1.0)


def test_flac_keeps_every_sample_and_is_the_same_each_time() -> None:
    noise = np.random.default_rng(5).integers(-32768, 32767, 5_000).astype(np.int16)
    once = encode_flac(noise)
    assert once == encode_flac(noise) and once[:4] == b"fLaC"
    assert np.array_equal(decode_flac(once), noise)
    with pytest.raises(OperatorError, match="damaged"):
        decode_flac(once[: len(once) // 2])
    with pytest.raises(ProgrammerError):
        encode_flac(noise[:0])
    with pytest.raises(ProgrammerError):
        encode_flac(noise.astype(np.float32))  # type: ignore[arg-type]


def test_frames_cover_everything_once() -> None:
    samples = np.arange(1000, dtype=np.int16)
    frames = list(frames_of(samples, 5.0))
    assert [round(f.start_s, 2) for f in frames] == [5.0, 5.03, 5.06]
    joined = np.concatenate([f.samples for f in frames])
    assert np.array_equal(joined[:1000], samples) and not joined[1000:].any()


def test_level_of_known_waves() -> None:
    square = np.where(np.arange(480) % 2, 32767, -32767).astype(np.int16)
    assert level_dbfs(square) == pytest.approx(0.0, abs=0.01)
    sine = (tone(1000, 0.03, 16_000, 1.0) * 32767).astype(np.int16)
    # A full-scale sine is 3.01 dB under a full-scale square: 10 log10(1/2).
    assert level_dbfs(sine) == pytest.approx(-3.01, abs=0.01)
    assert level_dbfs(np.zeros(480, dtype=np.int16)) == -96.0
