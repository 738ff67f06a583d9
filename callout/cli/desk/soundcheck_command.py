"""``callout soundcheck``: tries microphone and loudspeaker, and writes the settings that suit them.

Plays, records, and tells level, noise, delay and how much of the voice comes back; hears one
callout; then, where a survey is given and it is wanted, writes microphone, loudspeaker and duplex.
"""

from __future__ import annotations

import argparse
import time
from pathlib import Path
from typing import Any

from callout.cli.asking import yes
from callout.core.errors import DeviceError
from callout.grammar.scope import Scope
from callout.journal.folder import SurveyFolder, open_survey
from callout.sound.endpoint import Endpointer
from callout.sound.endpoint_settings import EndpointSettings
from callout.sound.frames import Samples, frames_of, level_dbfs
from callout.sound.own.sound_trial import Devices, Figures, RealDevices, figures, suits
from callout.sound.voice import Voice, VoiceSettings
from callout.station.data import load_language
from callout.station.hearing.engines import choose_engine
from callout.survey.config import Config
from callout.survey.config_edit import with_settings
from callout.survey.files import storage_errors, write_whole

PHRASE, TAG, SIZE = "tree twelve, three point four", "12", "3.4"
_VOICE_SAYS = "Eighty-three, thirty-one point eight. Confirm?"
_QUIET_S, _PLAYED_S, _SAID_S = 2.0, 5.0, 8.0
_TRIES = 2
_WHY = {
    "headset": "nothing of the voice comes back: you may speak while it speaks",
    "loudspeaker": "the voice comes back and can be taken out: you may speak while it speaks",
    "half": "the voice comes back and would be taken for you: nothing is heard while it speaks",
}
_LOUD_DBFS, _FAINT_DB = -3.0, 15.0


def add_parser(subparsers: Any) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser("soundcheck")
    parser.add_argument(
        "survey",
        type=Path,
        nargs="?",
        metavar="SURVEY",
        help="the survey whose settings are tried, and written",
    )
    parser.add_argument("--microphone", default=None, metavar="NAME", help="a part of its name")
    parser.add_argument("--speaker", default=None, metavar="NAME", help="a part of its name")
    parser.add_argument("--list", action="store_true", help="only list what there is")
    parser.add_argument("--no-callout", action="store_true", help="do not ask for a callout")
    parser.add_argument("--yes", action="store_true", help="write the settings without asking")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """List, try, tell, and write what is wanted."""
    folder = open_survey(args.survey) if args.survey else None
    config = folder.config() if folder else None
    named = {
        "microphone": _name(args.microphone, config.listening.microphone if config else ""),
        "speaker": _name(args.speaker, config.speaking.speaker if config else ""),
    }
    devices = _devices(named["microphone"], named["speaker"])
    _list(devices)
    if args.list:
        return 0
    found, duplex = _tried(devices, config)
    _tell(found)
    asks = not args.no_callout and (config is None or config.language == "en")
    heard = not asks or _hears(devices, config, found)
    print(f"duplex: {duplex} ({_WHY[duplex]})")
    if folder is not None:
        _write(folder, {**named, "duplex": duplex}, args.yes)
    return 0 if heard else 1


def _name(given: str | None, set_to: str) -> str:
    return set_to if given is None else given


def _devices(microphone: str, speaker: str) -> Devices:
    return RealDevices(microphone, speaker)


def _list(devices: Devices) -> None:
    for kind, names in (("microphones", devices.microphones()), ("speakers", devices.speakers())):
        print(f"{kind}:")
        for name in names or ["none"]:
            print(f"  {name}")


def _tried(devices: Devices, config: Config | None) -> tuple[Figures, str]:
    """Say nothing meanwhile: what is heard should be the noise, then our own voice, twice."""
    print("Say nothing for a moment ...", flush=True)
    noise = devices.take(_QUIET_S)
    if not noise.heard.any():
        raise DeviceError("the microphone gives only silence: is it muted, or the wrong one?")
    rate = config.speaking.words_a_minute if config else VoiceSettings().words_per_minute
    voice = Voice(VoiceSettings(words_per_minute=rate)).say(_VOICE_SAYS)
    first, second = (devices.take(_PLAYED_S, voice) for _ in range(2))
    found = figures(noise.heard, second)
    return found, suits(found, first, second)


def _tell(found: Figures) -> None:
    print(f"noise: {found.noise_dbfs:.0f} dBFS")
    if found.back_db is None or found.delay_s is None:
        print("voice: nothing of it comes back. Did you hear it? If not, look at the speaker")
    else:
        late_ms = round(1000 * found.delay_s)
        print(f"voice: comes back at {round(found.back_db)} dB, {late_ms} ms late")


def _hears(devices: Devices, config: Config | None, found: Figures) -> bool:
    """Whether the callout asked for was heard as it was said."""
    spoken = load_language("en").spoken_in(Scope(frozenset([TAG])))
    listening = config.listening if config else None
    engine = choose_engine(
        listening.engine if listening else "auto",
        load_language("en"),
        listening.vosk_model if listening else "",
    )
    engine.prepare(spoken)
    for _ in range(_TRIES):
        print(f'Say: "{PHRASE}"', flush=True)
        said = _utterance(devices.take(_SAID_S).heard)
        if said is None:
            print("heard nothing: speak up, or come nearer to the microphone")
            continue
        level = level_dbfs(said)
        _tell_level(level, found.noise_dbfs)
        began = time.perf_counter()
        candidates = engine.hear(said)
        took_ms = round(1000 * (time.perf_counter() - began))
        words = candidates[0].words if candidates else "no callout"
        print(f"heard: {words} ({engine.name}, {took_ms} ms)")
        if candidates and any(
            one.tag == TAG and str(one.value) == SIZE for one in candidates[0].meanings
        ):
            return True
    print(f'"{PHRASE}" was not heard: try nearer, in less wind, or with another microphone')
    return False


def _tell_level(level: float, noise: float) -> None:
    note = ""
    if level > _LOUD_DBFS:
        note = ": too loud, turn the microphone down"
    elif level - noise < _FAINT_DB:
        note = ": faint, come nearer or turn the microphone up"
    print(f"your voice: {level:.0f} dBFS, {level - noise:.0f} dB over the noise{note}")


def _utterance(samples: Samples) -> Samples | None:
    """The longest of what was said; None for nothing."""
    ears = Endpointer(EndpointSettings())
    found = [one for frame in frames_of(samples) for one in ears.push(frame)] + ears.flush()
    return max((one.samples for one in found), key=len, default=None)


def _write(folder: SurveyFolder, wanted: dict[str, str], sure: bool) -> None:
    if not sure and not yes(f"Write this to {folder.settings} [y/N]? "):
        print("Nothing was written.")
        return
    with storage_errors(f"cannot read {folder.settings}"):
        text = folder.settings.read_text(encoding="utf-8")
    listening = {name: wanted[name] for name in ("microphone", "duplex")}
    text = with_settings(text, "listening", listening)
    text = with_settings(text, "speaking", {"speaker": wanted["speaker"]})
    write_whole(folder.settings, text.encode())
    folder.config()
    print(f"Written to {folder.settings}; used from the next start on.")
