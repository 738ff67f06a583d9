"""FLAC within a size limit: if sound is too loud to fit, its least significant bits are dropped.

Noise does not compress, so a windy hour takes several times the space of a still one. Dropping bits
far below the noise is hardly audible; FLAC packs the zeros away. Never for a callout.
"""

from __future__ import annotations

import math

import numpy as np

from callout.sound.frames import Samples
from callout.sound.sound_files import encode_flac

MOST_BITS_LEFT_OUT = 8
_OVERHEAD_BYTES = 9_000  # the fixed cost of a FLAC file, however short the sound


def encode_within(samples: Samples, most_bytes: int) -> tuple[bytes, int]:
    """FLAC of about ``most_bytes`` at most, and how many of the 16 bits were dropped.

    At least half of the bits are kept, whatever the size.
    """
    flac, bits = encode_flac(samples), 0
    while len(flac) > most_bytes + _OVERHEAD_BYTES and bits < MOST_BITS_LEFT_OUT:
        over = (len(flac) - most_bytes) * 8 / samples.size
        bits = min(MOST_BITS_LEFT_OUT, bits + max(1, math.floor(over)))
        flac = encode_flac(coarser(samples, bits))
    return flac, bits


def coarser(samples: Samples, bits: int) -> Samples:
    """The samples rounded to a multiple of two to the power of ``bits``."""
    step = 1 << bits
    rounded = (samples.astype(np.int32) + step // 2) // step * step
    most = 32768 - step
    found: Samples = np.clip(rounded, -32768, most).astype(np.int16)
    return found


def pcm_within(pcm: bytes, most_bytes: int) -> tuple[bytes, int]:
    """As `encode_within`, from 16-bit little-endian samples as stored on a disk."""
    samples = np.frombuffer(pcm, dtype="<i2").astype(np.int16, copy=False)
    return encode_within(samples, most_bytes)
