"""The voice, and a sound server of our own where there is one."""

from __future__ import annotations

import pytest
from sound_tools import looped as looped

from callout.sound.voice import Voice, VoiceSettings


@pytest.fixture(scope="session")
def say() -> Voice:
    return Voice(VoiceSettings("en-us"))
