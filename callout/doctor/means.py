"""The means of hearing, echo and tapes: microphone, loudspeaker, voice, recogniser, ports, radio.

Each is tried, not only looked for: a microphone is opened and gives sound, the voice speaks, and
the recogniser hears what it said. Nothing is played aloud and nothing is kept.
"""

from __future__ import annotations

import asyncio
import os
from dataclasses import dataclass, field
from itertools import islice

import numpy as np

from callout.core.errors import CalloutError, DeviceError
from callout.devices.ports import PortInfo, list_ports
from callout.doctor.finding import Finding, broken, less, told, works
from callout.sound.frames import SAMPLE_RATE_HZ, Samples
from callout.sound.guarded_voice import GuardedVoice
from callout.sound.microphone import Microphone
from callout.sound.speaker import Speaker
from callout.sound.voice import VoiceSettings
from callout.station.data import load_language
from callout.station.hearing.apart import ApartEngine, EngineOrder
from callout.survey.config import Listening, Speaking

SENTENCE = "tree eighty three, twenty four point six"
MEANT = ("83", "24.6")
LISTENS_S = 0.6
SCANS_S = 1.0
_FRAME_S = 0.03
_BY_HAND = "work goes on by typing and by tape"


@dataclass(frozen=True)
class Means:
    """What a survey's settings ask for, else the defaults of a new survey."""

    language: str = "en"
    listening: Listening = field(default_factory=Listening)
    speaking: Speaking = field(default_factory=Speaking)


def microphone(means: Means) -> Finding:
    """Opens it and listens for a moment."""
    name = "microphone"
    try:
        with Microphone(means.listening.microphone or None, stalled_after_s=2.0) as source:
            frames = list(islice(source.frames(), int(LISTENS_S / _FRAME_S)))
            heard = np.concatenate([frame.samples for frame in frames])
    except DeviceError as error:
        return less(name, told(error), f"{_BY_HAND}; 'callout devices' lists what there is")
    loudest = int(np.abs(heard.astype(np.int32)).max(initial=0))
    if not loudest:
        return less(name, f"{source.name} gives no sound at all", "is it muted, or switched off?")
    return works(name, f"{source.name}, {20 * np.log10(loudest / 32768):.0f} dBFS at its loudest")


def speaker(means: Means) -> Finding:
    """Opens it; nothing is played."""
    if means.speaking.muted:
        return works("speaker", "not asked for: the survey is muted")
    try:
        opened = Speaker(means.speaking.speaker or None)
    except DeviceError as error:
        return less("speaker", told(error), "echoes are on the screen only; look at each")
    opened.close()
    return works("speaker", f"{opened.name} opens; 'callout practice' lets you hear it")


def voice(means: Means) -> tuple[Finding, Samples | None]:
    """Lets it say a sentence, into memory; what it said, for the recogniser to hear."""
    settings = VoiceSettings(means.speaking.voice, means.speaking.words_a_minute)
    try:
        said = GuardedVoice(settings).say(SENTENCE)
    except CalloutError as error:
        return less("voice", told(error), "tones stand for the echo; look at each value"), None
    return works("voice", f"{settings.name}, {settings.words_per_minute} words a minute"), said


def recogniser(means: Means, said: Samples | None) -> Finding:
    """Starts the one that a day would use, and lets it hear what the voice said."""
    name, listening = "recogniser", means.listening
    put_right = f"choose another by 'engine' and 'vosk_model' in survey.toml; till then {_BY_HAND}"
    if not listening.vosk_model and os.environ.get("CALLOUT_VOSK_MODEL"):
        put_right = f"mend or unset CALLOUT_VOSK_MODEL; till then {_BY_HAND}"
    try:
        language = load_language(means.language)
        engine = ApartEngine(EngineOrder(listening.engine, language, listening.vosk_model))
    except CalloutError as error:
        return broken(name, told(error), put_right)
    try:
        engine.prepare(language.spoken)
        which = f"{engine.name} ({engine.model})"
        if said is None or means.language != "en":
            return works(name, f"{which} starts")
        quiet = np.zeros(SAMPLE_RATE_HZ // 3, dtype=np.int16)
        best = next(iter(engine.hear(np.concatenate([quiet, said, quiet]))), None)
    except CalloutError as error:
        return broken(name, told(error), put_right)
    finally:
        engine.close()
    if best is not None and any((one.tag, str(one.value)) == MEANT for one in best.meanings):
        return works(name, f"{which} hears what the voice says")
    heard = f"heard {best.words!r}" if best else "heard no callout"
    return less(
        name,
        f"{which} {heard}, where the voice said {SENTENCE!r}",
        "try 'callout practice' with your own voice before you rely on it",
    )


def ports() -> Finding:
    """Serial ports, and whether this user may open them. None is not a fault: most have no tape."""
    found = list_ports()
    if not found:
        return works("serial ports", "none; a tape by cable or radio adapter shows up here")
    closed = [one for one in found if not _may_open(one)]
    if closed:
        return less(
            "serial ports",
            f"{', '.join(one.path for one in closed)} may not be opened by you",
            "sudo usermod -aG dialout $USER, then log in again",
        )
    return works("serial ports", ", ".join(one.path for one in found))


def radio() -> Finding:
    """Whether tapes by Bluetooth can be listened for."""
    from callout.devices.ble_source import FAULTS, in_range
    from callout.devices.ble_source import told as radio_told

    try:
        seen = asyncio.run(asyncio.wait_for(in_range(SCANS_S), timeout=SCANS_S + 5))
    except FAULTS as error:
        return less("radio", radio_told(error), "only tapes by Bluetooth need it")
    return works("radio", f"Bluetooth listens; {len(seen)} in range")


def _may_open(port: PortInfo) -> bool:
    return not port.path.startswith("/") or os.access(port.path, os.R_OK | os.W_OK)
