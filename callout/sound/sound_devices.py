"""Lists microphones and loudspeakers, and chooses one by name.

The only module that asks the sound system for its devices, and knows what must be released.
Capturing and playing are done in `microphone` and `speaker`.
"""

from __future__ import annotations

import ctypes
import functools
from dataclasses import dataclass
from typing import Any

import miniaudio
from miniaudio import ffi, lib

from callout.core.errors import DeviceError
from callout.core.saying import Saying, saying
from callout.sound.pulse import SourceWatch

NULL_DEVICE = "null"
"""Name of the sound system's silent null device, for trials without hardware."""

# Null is left out on purpose: chosen by default, it would be a microphone that hears nothing.
_REAL = [
    miniaudio.Backend.WASAPI,
    miniaudio.Backend.DSOUND,
    miniaudio.Backend.WINMM,
    miniaudio.Backend.COREAUDIO,
    miniaudio.Backend.PULSEAUDIO,
    miniaudio.Backend.ALSA,
    miniaudio.Backend.SNDIO,
    miniaudio.Backend.AUDIO4,
    miniaudio.Backend.OSS,
]


@dataclass(frozen=True, slots=True)
class SoundDevice:
    """One device as the sound system names it."""

    name: str
    kind: str
    """"microphone" or "speaker"."""
    backend: str


@dataclass(frozen=True, slots=True)
class Choice:
    """What miniaudio needs to open a device; `device_id` None means the system's default."""

    name: str
    device_id: Any
    backends: list[miniaudio.Backend]


def list_microphones() -> list[SoundDevice]:
    """All capture devices. Raises DeviceError if there is no sound system."""
    devices, infos = _ask("microphone")
    return [SoundDevice(info["name"], "microphone", devices.backend) for info in infos]


def list_speakers() -> list[SoundDevice]:
    """All playback devices. Raises DeviceError if there is no sound system."""
    devices, infos = _ask("speaker")
    return [SoundDevice(info["name"], "speaker", devices.backend) for info in infos]


def choose(kind: str, name: str | None) -> Choice:
    """Find a device by its name, or by a part of it that no other name holds; case is ignored.

    None is the system's default. Raises DeviceError if none, or more than one, answers.
    """
    if name == NULL_DEVICE:
        return Choice(NULL_DEVICE, None, [miniaudio.Backend.NULL])
    devices, infos = _ask(kind)
    if not infos:
        raise DeviceError(saying("none-there", kind=_kind(kind)))
    # The list can combine backends only by starting over, so stay with the one that answered.
    backends = [b for b in _REAL if b.name.lower() == devices.backend.lower()] or _REAL
    if name is None:
        return Choice("default", None, backends)
    wanted = name.casefold()
    exact = [info for info in infos if info["name"].casefold() == wanted]
    found = exact or [info for info in infos if wanted in info["name"].casefold()]
    if len(found) == 1:
        return Choice(found[0]["name"], found[0]["id"], backends)
    names = ", ".join(repr(info["name"]) for info in found or infos)
    if not found:
        raise DeviceError(saying("none-called", kind=_kind(kind), name=name, names=names))
    raise DeviceError(saying("name-of-several", kind=_kind(kind), name=name, names=names))


def _kind(kind: str) -> Saying:
    return saying("name-microphone") if kind == "microphone" else saying("name-speaker")


def _ask(kind: str) -> tuple[miniaudio.Devices, list[dict[str, Any]]]:
    hush_alsa()
    try:
        devices = miniaudio.Devices(_REAL)
        infos = _listed(devices, kind)
    except miniaudio.MiniaudioError:
        raise DeviceError(saying("no-sound-system", kind=_kind(kind))) from None
    return devices, infos


def _listed(devices: miniaudio.Devices, kind: str) -> list[dict[str, Any]]:
    """Names and ids only.

    miniaudio can also ask each device for its formats: elsewhere that finds devices that do not
    answer, but PulseAudio ends the whole process if one disappears just then.
    """
    if devices.backend != "PulseAudio":
        found: list[dict[str, Any]] = (
            devices.get_captures() if kind == "microphone" else devices.get_playbacks()
        )
        return found
    infos, count = ffi.new("ma_device_info**"), ffi.new("ma_uint32*")
    wanted, others = (infos, count), (ffi.NULL, ffi.NULL)
    asked = (*others, *wanted) if kind == "microphone" else (*wanted, *others)
    if lib.ma_context_get_devices(devices._context, *asked):
        raise miniaudio.MiniaudioError("the devices cannot be listed")
    return [
        {
            "name": ffi.string(infos[0][at].name).decode("utf-8", "replace"),
            "id": ffi.new("ma_device_id *", infos[0][at].id),
        }
        for at in range(count[0])
    ]


@functools.cache
def hush_alsa() -> object:
    """Keep ALSA's own messages off the screen; keep the returned handler alive."""
    try:
        library = ctypes.CDLL("libasound.so.2")
        handler = ctypes.CFUNCTYPE(None)(lambda: None)
        library.snd_lib_error_set_handler(handler)
    except (OSError, AttributeError):
        return None
    return handler


class _GivesContextBack:
    """Fixes a leak: miniaudio's devices leave their connection open, four files each."""

    _connection: Any = None

    def _make_context(self, *args: Any, **more: Any) -> Any:
        self._connection = super()._make_context(*args, **more)  # type: ignore[misc]
        return self._connection

    def close(self) -> None:
        """Release the device, then the connection. Safe to call twice."""
        super().close()  # type: ignore[misc]
        connection, self._connection = self._connection, None
        if connection is not None:
            lib.ma_context_uninit(connection)


class CaptureDevice(_GivesContextBack, miniaudio.CaptureDevice):  # type: ignore[misc]
    """A microphone that leaves nothing open, whether or not it could be opened."""


class PlaybackDevice(_GivesContextBack, miniaudio.PlaybackDevice):  # type: ignore[misc]
    """A loudspeaker that leaves nothing open, whether or not it could be opened."""


def watch_source(choice: Choice) -> SourceWatch | None:
    """A watch for changes of the chosen microphone; None if there is no way to tell.

    Only PulseAudio and compatible servers move a stream silently.
    """
    if choice.backends != [miniaudio.Backend.PULSEAUDIO]:
        return None
    named = choice.device_id
    name = None if named is None else bytes(ffi.buffer(named)).partition(b"\0")[0]
    return SourceWatch(name)
