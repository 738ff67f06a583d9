"""Time stamps of an outside authority (RFC 3161) on seals: who signs that a seal was there by when.

A request is a file that a person sends to the service they trust, and its answer a file that is
kept outside the survey; nothing here reaches a network. Asking and checking is done by
``rfc3161-client``, which is optional. Which seal of a journal a stamp fits is asked by ``fitting``.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from callout.core.errors import OperatorError
from callout.proof.seals import Seal
from callout.survey.files import storage_errors

MISSING = "time stamps need the package rfc3161-client: pip install 'callout[stamp]'"
_MOST_BYTES = 1_000_000
_SHA256 = "2.16.840.1.101.3.4.2.1"


@dataclass(frozen=True)
class Stamp:
    """What an authority signed: the SHA-256 of what it was given, and when. ``where``: its file."""

    digest: bytes
    at: datetime
    where: str


def can_stamp() -> bool:
    """Whether the package that asks and checks is installed."""
    with suppress(ImportError):
        import rfc3161_client  # noqa: F401

        return True
    return False


def request(seal: Seal) -> bytes:
    """A request for a stamp on ``seal``, as RFC 3161 encodes it (DER).

    It holds no nonce: no two seals have the same hash, so an old answer fits no new seal.
    """
    _refuse_missing()
    from rfc3161_client import HashAlgorithm, TimestampRequestBuilder

    asked = TimestampRequestBuilder(seal.signed, HashAlgorithm.SHA256, nonce=False, cert_req=True)
    return asked.build().as_bytes()


def read_stamps(paths: Iterable[Path], roots: Sequence[Path]) -> list[Stamp]:
    """The stamps of these answers, each signed under one of the certificates in ``roots``.

    Raises OperatorError for a file that is no answer, or that nobody trusted has signed.
    """
    files = list(paths)
    if not files:
        return []
    _refuse_missing()
    if not roots:
        raise OperatorError(
            "whose time stamps are trusted is yours to say: give the authority's certificate "
            "by --stamp-root FILE (PEM)"
        )
    return [_stamp(path, roots) for path in files]


def fitting(stamp: Stamp, seals: Iterable[Seal]) -> Seal | None:
    """The seal that was stamped; None where it is none of these."""
    return next((one for one in seals if hashlib.sha256(one.signed).digest() == stamp.digest), None)


def _stamp(path: Path, roots: Sequence[Path]) -> Stamp:
    from cryptography import x509
    from rfc3161_client import VerificationError, VerifierBuilder, decode_timestamp_response

    data, trusted = _read(path), []
    for root in roots:
        try:
            trusted += x509.load_pem_x509_certificates(_read(root))
        except ValueError as error:
            raise OperatorError(f"{root} holds no certificate in PEM: {error}") from None
    try:
        answer = decode_timestamp_response(data)
        told = answer.tst_info
        imprint = told.message_imprint
    except (TypeError, ValueError) as error:
        raise OperatorError(f"{path} is no answer of a time-stamping service: {error}") from None
    if imprint.hash_algorithm.dotted_string != _SHA256:
        raise OperatorError(f"{path} stamps no SHA-256: it is no stamp of a seal")
    try:
        VerifierBuilder(roots=trusted).build().verify(answer, imprint.message)
    except (VerificationError, TypeError, ValueError) as error:
        raise OperatorError(
            f"{path} is not signed by who {', '.join(map(str, roots))} names: {error}"
        ) from None
    return Stamp(imprint.message, told.gen_time, str(path))


def _read(path: Path) -> bytes:
    if not path.is_file():
        raise OperatorError(f"there is no file {path}")
    with storage_errors(f"cannot read {path}"), path.open("rb") as file:
        data = file.read(_MOST_BYTES + 1)
    if len(data) > _MOST_BYTES:
        raise OperatorError(f"{path} is larger than any time stamp")
    return data


def _refuse_missing() -> None:
    if not can_stamp():
        raise OperatorError(MISSING)
