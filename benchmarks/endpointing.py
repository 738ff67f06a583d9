"""What endpointing misses and how long it waits, over recorded digits and spoken callouts.

Prints medians and ratios; nothing here is a test. Recordings: Free Spoken Digit Dataset
(Z. Jackson et al., CC BY-SA 4.0), telephone band, three speakers, from ../shared/audio; skipped,
saying so, where absent. Callouts are spoken by espeak-ng. Noise is white, so wind, engines and
birds are not measured here.

Run: python benchmarks/endpointing.py [--audio FOLDER]
"""

from __future__ import annotations

import argparse
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from statistics import median

import numpy as np

from callout.sound.endpoint import Endpointer
from callout.sound.endpoint_settings import EndpointSettings
from callout.sound.frames import SAMPLE_RATE_HZ, Samples, Utterance, frames_of
from callout.sound.sound_files import read_sound
from callout.sound.voice import Voice, VoiceSettings

AUDIO = Path(__file__).resolve().parents[2] / "shared" / "audio" / "spoken_digits"
SPEAKERS = ("jackson", "nicolas", "theo")
STRINGS = 50
PEAK = 12_000
HANG_OVERS_S = (0.45, 0.6, 0.75, 0.9, 1.05)
NOISES_DBFS = (-70.0, -50.0, -40.0)
VOICES = ("en-us", "en-gb", "en-us+f3", "en+m7")
Trial = tuple[Samples, list[tuple[float, float]]]


@dataclass
class Score:
    """Milliseconds over all trials; `right` counts trials cut into just the true utterances."""

    trials: int = 0
    right: int = 0
    onset_miss: list[float] = field(default_factory=list)
    tail_cut: list[float] = field(default_factory=list)
    latency: list[float] = field(default_factory=list)

    def take(self, found: list[Utterance], truth: list[tuple[float, float]]) -> None:
        self.trials += 1
        if len(found) != len(truth):
            return
        self.right += 1
        for utterance, (start_s, end_s) in zip(found, truth, strict=True):
            self.onset_miss.append(max(0.0, utterance.start_s - start_s) * 1000)
            self.tail_cut.append(max(0.0, end_s - utterance.end_s) * 1000)
            self.latency.append((utterance.end_s - end_s) * 1000)

    def __str__(self) -> str:
        share = f"{self.right:4d}/{self.trials:<4d}"
        if not self.right:
            return share
        missed = sum(miss > 0 for miss in self.onset_miss) / len(self.onset_miss)
        cut = sum(miss > 0 for miss in self.tail_cut) / len(self.tail_cut)
        return (
            f"{share} onset miss median {median(self.onset_miss):3.0f} ms, any {missed:5.1%}; "
            f"tail cut median {median(self.tail_cut):3.0f} ms, any {cut:5.1%}; "
            f"latency median {median(self.latency):4.0f} ms"
        )


def quiet(seconds: float) -> Samples:
    return np.zeros(round(seconds * SAMPLE_RATE_HZ), dtype=np.int16)


def levelled(samples: Samples) -> Samples:
    top = max(1, int(np.abs(samples.astype(np.int32)).max()))
    return (samples.astype(np.float64) * (PEAK / top)).astype(np.int16)


def trimmed(samples: Samples) -> Samples:
    loud = np.flatnonzero(np.abs(samples.astype(np.int32)) > PEAK // 50)
    return samples[loud[0] : loud[-1] + 1]


def noisy(samples: Samples, dbfs: float, rng: np.random.Generator) -> Samples:
    noise = rng.normal(0, 32768 * 10 ** (dbfs / 20), samples.size)
    return np.clip(samples + noise, -32768, 32767).astype(np.int16)


def cut(samples: Samples, settings: EndpointSettings) -> list[Utterance]:
    endpointer = Endpointer(settings)
    found = [u for frame in frames_of(samples) for u in endpointer.push(frame)]
    return found + endpointer.flush()


def digit_trials(folder: Path, speaker: str, inner_pause_s: float = 0.0) -> list[Trial]:
    """Strings of four digits, 0.1 to 0.25 s apart, one longer pause in the middle if asked."""
    rng = np.random.default_rng(1)
    clips = [trimmed(levelled(read_sound(p))) for p in sorted(folder.glob(f"*_{speaker}_*.wav"))]
    trials: list[Trial] = []
    for _ in range(STRINGS):
        parts = [quiet(1.0)]
        for place in range(4):
            gap = inner_pause_s if inner_pause_s and place == 1 else rng.uniform(0.10, 0.25)
            parts += [clips[rng.integers(len(clips))], quiet(gap)]
        spoken = np.concatenate(parts[:-1])
        end_s = spoken.size / SAMPLE_RATE_HZ
        trials.append((np.concatenate([spoken, quiet(1.5)]), [(1.0, end_s)]))
    return trials


def callout_trials(pause_s: float, apart: bool) -> list[Trial]:
    """Tree, pause, figure: one utterance, or two where `apart` (whole callouts)."""
    trials: list[Trial] = []
    for name in VOICES:
        say = Voice(VoiceSettings(name)).say
        for tree, figure in (("eighty three", "twenty four point six"), ("six", "nine point one")):
            first = f"tree {tree}, {figure}" if apart else f"tree {tree}"
            second = "tree two hundred six, eighteen point three" if apart else figure
            one, two = (trimmed(levelled(say(text))) for text in (first, second))
            sound = np.concatenate([quiet(1.0), one, quiet(pause_s), two, quiet(1.5)])
            one_end = 1.0 + one.size / SAMPLE_RATE_HZ
            two_end = one_end + pause_s + two.size / SAMPLE_RATE_HZ
            both = [(1.0, one_end), (one_end + pause_s, two_end)]
            trials.append((sound, both if apart else [(1.0, two_end)]))
    return trials


def report(name: str, trials: list[Trial], settings: EndpointSettings) -> None:
    for dbfs in NOISES_DBFS:
        rng, score = np.random.default_rng(2), Score()
        for sound, truth in trials:
            score.take(cut(noisy(sound, dbfs, rng), settings), truth)
        print(f"  {name:34s} noise {dbfs:4.0f} dBFS  {score}")


def sweep(title: str, settings: list[EndpointSettings], label: Callable[..., str]) -> None:
    print(f"\n{title}")
    cases = [("pause 0.5 s inside, one", callout_trials(0.5, False))]
    cases += [("pause 0.6 s inside, one", callout_trials(0.6, False))]
    cases += [(f"{gap} s between, two", callout_trials(gap, True)) for gap in (1.0, 1.2)]
    for setting in settings:
        print(f" {label(setting)}")
        for name, trials in cases:
            report(name, trials, setting)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--audio", type=Path, default=AUDIO)
    folder: Path = parser.parse_args().audio
    print(f"Defaults: {EndpointSettings()}")
    if folder.is_dir():
        print("\nRecorded digits, four a string, one utterance each (FSDD, CC BY-SA 4.0)")
        for mode in (1, 2, 3):
            print(f" detector mode {mode}")
            for speaker in SPEAKERS:
                report(speaker, digit_trials(folder, speaker), EndpointSettings(vad_mode=mode))
        print(" with a 0.5 s pause after the second digit, default settings")
        for speaker in SPEAKERS:
            report(speaker, digit_trials(folder, speaker, 0.5), EndpointSettings())
    else:
        print(f"\nRecorded digits skipped: {folder} is not there.")
    hang_overs = [EndpointSettings(hang_over_s=value) for value in HANG_OVERS_S]
    sweep("Spoken callouts by hang-over", hang_overs, lambda s: f"hang-over {s.hang_over_s} s")


if __name__ == "__main__":
    main()
