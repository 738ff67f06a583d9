"""A head tuned to one measurer, as a file: written, read, and told from one of another base.

The file is a head like any other (half precision), with the digest of the head it was made from,
whose voice it follows and how sure it must be. Where it lies in a survey is not known here.
"""

from __future__ import annotations

import hashlib
import io
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from callout.core.errors import DeviceError
from callout.speech.closed.closed_engine import HEAD, ClosedEngine
from callout.speech.closed.head import Weights, weights_of
from callout.speech.closed.names.name_listener import NameListener
from callout.speech.closed.surety import Thresholds

_EXACT = ("mean", "scale")


@dataclass(frozen=True)
class About:
    """Whose head it is, the SHA-256 of its base, and the margin it needs to be believed."""

    who: str
    base: str
    margin: float


def digest_of(path: Path) -> str:
    """The SHA-256 of a head's file. Raises DeviceError if it cannot be read."""
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError as error:
        raise DeviceError(f"the head in {path} cannot be read: {error}") from error


def packed(weights: Weights, words: tuple[str, ...], about: About) -> bytes:
    """The bytes of a head's file."""
    file = io.BytesIO()
    kept = {
        name: value if name in _EXACT else value.astype(np.float16)
        for name, value in weights.items()
    }
    np.savez(
        file,
        allow_pickle=False,
        words=np.array(words),
        base=np.frombuffer(bytes.fromhex(about.base), dtype=np.uint8),
        who=np.frombuffer(about.who.encode(), dtype=np.uint8),
        margin=np.array(about.margin, dtype=np.float32),
        **kept,
    )
    return file.getvalue()


def about(path: Path) -> About:
    """What a tuned head's file says of itself. Raises DeviceError for one that is none."""
    try:
        with np.load(path, allow_pickle=False) as data:
            return About(
                who=data["who"].tobytes().decode(),
                base=data["base"].tobytes().hex(),
                margin=float(data["margin"]),
            )
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise DeviceError(f"the tuned head in {path} cannot be read: {error}") from error


def why_not(path: Path, base: Path = HEAD) -> str | None:
    """Why the tuned head cannot be used, in words; None if it can."""
    try:
        if about(path).base != digest_of(base):
            return "the engine's head is another one since: run 'callout tune' again"
        if weights_of(path)[1] != weights_of(base)[1]:
            return "it knows other words than the engine's head: run 'callout tune' again"
    except DeviceError as error:
        return str(error)
    return None


def tuned_engine(
    path: Path, folder: Path | None = None, names: NameListener | None = None
) -> ClosedEngine:
    """The closed engine with this head; its model's name says whose. Raises DeviceError.

    ``folder`` is the encoder's, and of the package if none is given.
    """
    told = about(path)
    limits = Thresholds()
    engine = ClosedEngine(
        folder,
        head=path,
        thresholds=replace(limits, margin=max(limits.margin, told.margin)),
        doubter=None,
        names=names,
    )
    engine.model += f", tuned to {told.who} from {told.base[:12]}"
    return engine
