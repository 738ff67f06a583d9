"""Time stamps on seals by an authority of the test's own: OpenSSL's time-stamping commands.

RFC 3161; OpenSSL makes the answers and is the outside judge of our request.
"""

from __future__ import annotations

import shutil
import subprocess
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from station_tools import at_work

from callout.core.errors import OperatorError
from callout.journal.folder import SurveyFolder
from callout.proof.stamps import read_stamps

pytest.importorskip("rfc3161_client", reason="needs the package rfc3161-client")
pytestmark = pytest.mark.skipif(shutil.which("openssl") is None, reason="needs openssl")

SETTINGS = """
[tsa]
default_tsa = here
[here]
serial = {at}/serial
crypto_device = builtin
signer_digest = sha256
default_policy = 1.2.3.4.1
digests = sha256, sha512
accuracy = secs:1
ess_cert_id_alg = sha256
[req]
distinguished_name = name
x509_extensions = stamping
[name]
[stamping]
basicConstraints = critical, CA:FALSE
keyUsage = critical, digitalSignature
extendedKeyUsage = critical, timeStamping
[root]
basicConstraints = critical, CA:TRUE
keyUsage = critical, keyCertSign
"""


class Authority:
    """A root, a signer under it, and a service that answers one request at a time."""

    def __init__(self, at: Path) -> None:
        at.mkdir()
        self.at, self.root, self.settings = at, at / "root.pem", at / "ts.cnf"
        self.settings.write_text(SETTINGS.format(at=at))
        (at / "serial").write_text("01\n")
        new = ["req", "-config", self.settings, "-newkey", "ec", "-pkeyopt",
               "ec_paramgen_curve:P-256", "-nodes"]  # fmt: skip
        self._openssl(*new, "-x509", "-extensions", "root", "-subj", "/CN=Invented root",
                      "-keyout", at / "root.key", "-out", self.root, "-days", "30")  # fmt: skip
        self._openssl(*new, "-subj", "/CN=Invented stamps", "-keyout", at / "tsa.key",
                      "-out", at / "tsa.csr")  # fmt: skip
        self._openssl("x509", "-req", "-in", at / "tsa.csr", "-CA", self.root, "-CAkey",
                      at / "root.key", "-set_serial", "2", "-days", "30", "-extfile",
                      self.settings, "-extensions", "stamping", "-out", at / "tsa.pem")  # fmt: skip

    def answer(self, request: Path, to: Path) -> Path:
        self._openssl("ts", "-reply", "-config", self.settings, "-queryfile", request,
                      "-signer", self.at / "tsa.pem", "-inkey", self.at / "tsa.key",
                      "-out", to)  # fmt: skip
        return to

    def accepts(self, answer: Path, request: Path) -> bool:
        done = subprocess.run(
            ["openssl", "ts", "-verify", "-in", str(answer), "-queryfile", str(request),
             "-CAfile", str(self.root)], capture_output=True, text=True,
        )  # fmt: skip
        return "Verification: OK" in done.stdout + done.stderr

    def _openssl(self, *words: str | Path) -> None:
        done = subprocess.run(["openssl", *map(str, words)], capture_output=True, text=True)
        assert done.returncode == 0, done.stderr


@pytest.fixture(scope="module")
def authority(tmp_path_factory: pytest.TempPathFactory) -> Authority:
    return Authority(tmp_path_factory.mktemp("stamps") / "authority")


def test_a_seal_is_stamped_and_held_against_the_stamp(
    callout: Any, own_fen: SurveyFolder, tmp_path: Path, authority: Authority
) -> None:
    fen, asked, answer = own_fen.path, tmp_path / "fen.tsq", tmp_path / "fen.tsr"
    other = tmp_path / "other"
    shutil.copytree(fen, other)
    assert callout("verify", str(fen), "--stamp-request", str(asked)).code == 2, "no seal yet"
    sealed = callout("verify", str(fen), "--seal", "--stamp-request", str(asked))
    assert sealed.code == 0, sealed
    assert "to be stamped: entry 3" in sealed.out
    again = callout("verify", str(fen), "--stamp-request", str(asked))
    assert (again.code, "exists already" in again.err) == (2, True)
    assert authority.accepts(authority.answer(asked, answer), asked), "OpenSSL's own verdict"
    held = ("--stamp", str(answer), "--stamp-root", str(authority.root))
    found = callout("verify", str(fen), *held)
    assert found.code == 0, found
    assert "stamped: entry 3 was there by 20" in found.out
    assert "UTC; nothing stands after it" in found.out
    with at_work(own_fen) as station:
        station.open(next(iter(station.survey.plots)), "R.V.")
    assert "1 entry after it by nobody" in callout("verify", str(fen), *held).out
    assert callout("verify", str(other), "--seal").code == 0
    strange = callout("verify", str(other), *held)
    assert strange.code == 1
    assert "no seal here is what was stamped" in strange.out


def test_an_answer_that_proves_nothing_is_refused(
    callout: Any, own_fen: SurveyFolder, tmp_path: Path, authority: Authority
) -> None:
    fen, asked, answer = own_fen.path, tmp_path / "fen.tsq", tmp_path / "fen.tsr"
    assert callout("verify", str(fen), "--seal", "--stamp-request", str(asked)).code == 0
    authority.answer(asked, answer)

    def refused(told: str, *words: str | Path) -> None:
        found = callout("verify", str(fen), *map(str, words))
        assert (found.code, told in found.err) == (2, True), found

    root = ("--stamp-root", authority.root)
    (true,) = read_stamps([answer], [authority.root])
    refused("whose time stamps are trusted", "--stamp", answer)
    refused("there is no file", "--stamp", tmp_path / "none.tsr", *root)
    refused("no answer of a time-stamping service", "--stamp", asked, *root)
    refused("holds no certificate", "--stamp", answer, "--stamp-root", asked)
    stranger = Authority(tmp_path / "stranger")
    refused("is not signed by who", "--stamp", answer, "--stamp-root", stranger.root)
    whole = answer.read_bytes()
    altered = tmp_path / "altered.tsr"
    for place in range(0, len(whole), 37):
        flipped = bytes([whole[place] ^ 1])
        altered.write_bytes(whole[:place] + flipped + whole[place + 1 :])
        with suppress(OperatorError):
            (found,) = read_stamps([altered], [authority.root])
            # A byte that is not of what was signed may be any.
            assert (found.digest, found.at) == (true.digest, true.at), place
    altered.write_bytes(whole[: len(whole) // 2])
    refused("no answer of a time-stamping service", "--stamp", altered, *root)
