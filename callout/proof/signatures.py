"""Ed25519 signatures on seals: they show whose key made a seal.

The private key lies outside the survey, on the recorder or on a stick; its public half is an entry
of the journal, and can be kept elsewhere as well. Signing is done by ``cryptography``, which is
optional; docs/disputes.md says what a signature proves.
"""

from __future__ import annotations

import os
from collections.abc import Iterable
from contextlib import suppress
from errno import EEXIST
from pathlib import Path
from typing import TYPE_CHECKING, Any

from callout.core.errors import CalloutError, OperatorError, StorageError
from callout.journal.reader import Entry
from callout.proof.seals import Seal, Sign
from callout.survey.files import FOLDER_MODE, storage_errors, write_whole

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

KIND = "signer"
MISSING = "signatures need the package cryptography: pip install 'callout[sign]'"


def key_path() -> Path:
    """The path of the private key: ``CALLOUT_KEY``, or a default in the home folder."""
    given = os.environ.get("CALLOUT_KEY")
    return Path(given).expanduser() if given else Path.home() / ".config" / "callout" / "seal.pem"


def can_sign() -> bool:
    """Whether the package for signing and checking is installed."""
    with suppress(ImportError):
        import cryptography.hazmat.primitives.asymmetric.ed25519  # noqa: F401

        return True
    return False


def make_key(path: Path) -> None:
    """Make a private key at ``path``, readable by its owner only; never replaces a file."""
    if not can_sign():
        raise OperatorError(MISSING)
    from cryptography.hazmat.primitives import serialization
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    pem = Ed25519PrivateKey.generate().private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    with storage_errors(f"cannot write the key {path}"):
        path.parent.mkdir(mode=FOLDER_MODE, parents=True, exist_ok=True)
        if os.path.lexists(path):
            raise FileExistsError(EEXIST, os.strerror(EEXIST))
        write_whole(path, pem)  # an incomplete key would block every later attempt


def read_key(path: Path) -> Ed25519PrivateKey:
    """The private key at ``path``. Raises OperatorError if none can be read."""
    if not can_sign():
        raise OperatorError(MISSING)
    from cryptography.exceptions import UnsupportedAlgorithm
    from cryptography.hazmat.primitives import serialization
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    if not path.is_file():
        raise OperatorError(f"there is no key at {path}: make one with 'callout key'")
    with storage_errors(f"cannot read the key {path}"):
        data = path.read_bytes()
    try:
        key = serialization.load_pem_private_key(data, password=None)
    except (TypeError, ValueError, UnsupportedAlgorithm) as error:
        raise OperatorError(f"{path} is no private key that can be read: {error}") from None
    if not isinstance(key, Ed25519PrivateKey):
        raise OperatorError(f"{path} is not an Ed25519 key: make one with 'callout key'")
    return key


def public_of(key: Ed25519PrivateKey) -> str:
    """The public half, 64 hexadecimal digits."""
    return key.public_key().public_bytes_raw().hex()


def signing_with(key: Ed25519PrivateKey) -> Sign:
    """A function that signs a line: the public key, a colon, the signature, in hexadecimal."""
    public = public_of(key)
    return lambda data: f"{public}:{key.sign(data).hex()}"


def signer_body(public: str, who: str) -> dict[str, Any]:
    """The entry that names a key whose signatures count from then on."""
    return {"public": public, "who": who}


def signers_in(entries: Iterable[Entry]) -> dict[str, int]:
    """The public keys that the journal names, each with the first entry that does."""
    found: dict[str, int] = {}
    for entry in entries:
        if entry.kind == KIND:
            with suppress(CalloutError):  # the hash chain reports that it was altered
                found.setdefault(str(entry.content.get("public")), entry.seq)
    return found


def is_right(seal: Seal) -> bool:
    """Whether the seal's signature is by the key it names. Needs ``can_sign``."""
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    public, _, signature = seal.signature.partition(":")
    try:
        key = Ed25519PublicKey.from_public_bytes(bytes.fromhex(public))
        key.verify(bytes.fromhex(signature), seal.signed)
    except (InvalidSignature, ValueError):
        return False
    return True


def sign_for(entries: Iterable[Entry]) -> tuple[Sign | None, str]:
    """What signs this survey's seals, or the reason for not signing; neither if it has no key."""
    signers = signers_in(entries)
    if not signers:
        return None, ""
    try:
        key = read_key(key_path())
    except (OperatorError, StorageError) as error:
        return None, f"not signed: {error}"
    if public_of(key) not in signers:
        return None, f"not signed: {key_path()} is not a key of this survey, see 'callout key'"
    return signing_with(key), ""
