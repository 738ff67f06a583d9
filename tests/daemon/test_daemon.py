"""The real daemon: attached to, killed, started twice, asked by strangers, fuzzed and stopped.

The survey is the demo's (invented).
"""

from __future__ import annotations

import contextlib
import io
import itertools
import json
import os
import random
import shutil
import signal
import socket
import stat
import subprocess
import sys
import threading
import time
from concurrent.futures import Future
from dataclasses import replace
from pathlib import Path

import pytest
from command_tools import called, run_callout
from daemon_tools import Shared, Start, all_told
from in_english import WORDS
from waiting import LONG_S, wait_for

from callout.cli.main import main
from callout.core.errors import OperatorError
from callout.daemon import server as server_module
from callout.daemon.messages import MOST_ASKED_BYTES, VERSION, Request
from callout.daemon.remote import GONE, RemoteFace, ask, connected
from callout.daemon.server import MOST_CLIENTS, Server
from callout.daemon.socket_place import (
    log_path,
    runtime_folder,
    safe_folder,
    socket_path,
    unit_name,
)
from callout.daemon.system import unit_text
from callout.journal.folder import SurveyFolder
from callout.session.phase import Phase
from callout.station.face import View


def saved(folder: SurveyFolder) -> list[str]:
    with folder.reading() as reader:
        return [f"{item.tag} {item.value}" for item in reader.readings()]


def confirm(face: RemoteFace, text: str) -> None:
    """Type a reading and confirm what the view then shows."""
    face.submit(text, face.view().waiting)
    wait_for(lambda: face.view().waiting > 0)
    face.press("confirm", face.view().waiting)
    wait_for(lambda: face.view().waiting == 0)


def test_two_terminals_see_one_session_that_outlives_both(shared: Shared) -> None:
    path = shared.path
    one, other = RemoteFace(path), RemoteFace(path)
    seen: list[object] = []
    other.listen(seen.append)
    all_told(other)
    one.submit("83 25.4", 0)
    wait_for(lambda: other.view().waiting > 0)
    assert (other.view().tag, other.view().value) == ("83", "25.4")
    assert isinstance(seen[0], View)
    one.close()
    # What the other confirms is what it sees; another number is refused.
    other.press("confirm", other.view().waiting + 1)
    wait_for(lambda: "That has changed" in other.view().said)
    assert shared.saved("83") == []
    other.press("confirm", other.view().waiting)
    wait_for(lambda: shared.saved("83") == ["25.4"])
    other.close()
    with RemoteAgain(path) as again:
        assert again.view().recent[0].tag == "83"
    assert shared.process.poll() is None


def test_listen_without_a_screen_attaches_too(shared: Shared) -> None:
    with RemoteAgain(shared.path) as face:
        all_told(face)
    typed = "86 27.2\naccept\n"
    ran = called("listen", shared.fen.path, "--headless", "--typed", stdin=typed)
    assert (ran.code, ran.err) == (0, ""), ran
    assert shared.saved("86") == ["27.2"]
    assert ran.lines[-1]["event"] == "detached"
    assert any(line.get("tag") == "86" and line.get("value") == "27.2" for line in ran.lines)
    assert shared.process.poll() is None, "the daemon works on"


class Typist:
    """``listen --headless --typed`` in a process of its own, and what it says."""

    def __init__(self, survey: Path) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-m", "callout", "listen", str(survey), "--headless", "--typed"],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )  # fmt: skip
        self.out, self.err = io.StringIO(), io.StringIO()
        self._reading = [
            threading.Thread(target=self._read, args=pair, daemon=True)
            for pair in ((self._process.stdout, self.out), (self._process.stderr, self.err))
        ]
        for thread in self._reading:
            thread.start()

    def _read(self, stream: io.TextIOWrapper, into: io.StringIO) -> None:
        with stream:
            for line in stream:
                into.write(line)

    def type(self, text: str) -> None:
        assert self._process.stdin is not None
        self._process.stdin.write(text)
        self._process.stdin.flush()

    def left(self) -> int:
        """Close its input; its exit code."""
        assert self._process.stdin is not None
        self._process.stdin.close()
        for thread in self._reading:
            thread.join(LONG_S)
        return self._process.wait(LONG_S)


def test_one_that_does_not_answer_yet_is_waited_for_and_each_line_has_its_answer(
    start: Start, fen: SurveyFolder
) -> None:
    process = start("--plot", "K1")
    process.send_signal(signal.SIGSTOP)  # as one that is still starting: it is there, and silent
    typist = Typist(fen.path)
    wait_for(lambda: "does not answer yet" in typist.err.getvalue())
    process.send_signal(signal.SIGCONT)
    wait_for(lambda: '"view"' in typist.out.getvalue())
    typist.type("83 25.4\n")
    wait_for(lambda: '"value": "25.4"' in typist.out.getvalue())
    process.send_signal(signal.SIGSTOP)
    typist.type("no, 25.6\naccept\n")
    wait_for(lambda: '"unanswered"' in typist.out.getvalue())
    process.send_signal(signal.SIGCONT)
    assert typist.left() == 0, typist.err.getvalue()
    assert saved(fen) == ["83 25.6"]
    told = [json.loads(line) for line in typist.out.getvalue().splitlines()]
    unanswered = {line["typed"] for line in told if line["event"] == "unanswered"}
    # The first line was shown; its answer may have been on the way when the daemon was stopped.
    assert unanswered and unanswered <= {"83 25.4", "no, 25.6"}


def test_a_line_that_the_daemon_took_with_it_is_named(start: Start, fen: SurveyFolder) -> None:
    process = start("--plot", "K1")
    typist = Typist(fen.path)
    wait_for(lambda: '"view"' in typist.out.getvalue())
    process.send_signal(signal.SIGSTOP)
    typist.type("83 25.4\naccept\n")
    wait_for(lambda: '"unanswered"' in typist.out.getvalue())
    process.kill()
    assert typist.left() == 2
    assert "before it answered '83 25.4'; nothing after it was typed" in typist.err.getvalue()
    assert saved(fen) == []


@pytest.mark.parametrize(("how", "tag"), [("key", "61"), ("typed", "64")])
def test_a_terminal_that_shows_nothing_waiting_saves_nothing(
    shared: Shared, how: str, tag: str
) -> None:
    with RemoteAgain(shared.path) as one, RemoteAgain(shared.path) as other:
        all_told(other)
        seen = other.view().waiting
        assert seen == 0
        one.submit(f"{tag} 2.1", 0)  # far below last time's: warned
        wait_for(lambda: one.view().wants_accept and "2.1" in other.view().said)
        # Pressed by somebody whose screen has not been painted anew.
        if how == "key":
            other.press("accept", seen)
        else:
            other.submit("accept", seen)
        wait_for(lambda: "That has changed" in other.view().said)
        assert shared.saved(tag) == []
        one.press("accept", one.view().waiting)
        wait_for(lambda: shared.saved(tag) == ["2.1"])


class RemoteAgain(RemoteFace):
    """A face that is closed at the end."""

    def __enter__(self) -> RemoteAgain:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def test_a_killed_daemon_starts_again_and_its_screens_find_it(
    start: Start, fen: SurveyFolder
) -> None:
    process = start("--plot", "K1")
    path = socket_path(fen.path)
    with RemoteAgain(path) as face:
        confirm(face, "83 25.4")
        face.submit("86 27.2", 0)
        wait_for(lambda: face.view().waiting > 0)
        process.kill()
        process.wait(60)
        wait_for(lambda: WORDS.part(GONE) in face.view().faults)
        assert face.view().waiting == 0, "nothing can be confirmed that nobody would save"
        face.press("confirm", 1)
        assert face.view().said.startswith("Not sent")
        assert path.exists(), "the crash left its socket"
        process = start("--plot", "K1")
        wait_for(lambda: face.view().waiting > 0)
        assert cpu_s(process.pid) < 10, "it is there soon, if the machine has time for it"
        assert (face.view().tag, face.view().value) == ("86", "27.2"), "what waited waits"
        face.press("confirm", face.view().waiting)
        wait_for(lambda: saved(fen) == ["83 25.4", "86 27.2"])


def test_a_second_one_is_refused_by_whatever_name(
    start: Start, fen: SurveyFolder, places: Path
) -> None:
    start()
    (places / "alias").symlink_to(fen.path)
    for name in (fen.path, places / "alias"):
        ran = run_callout("daemon", name)
        assert (ran.code, ran.out) == (2, "")
        assert "another callout is using" in ran.err
        ran = called("listen", name, "--headless", "--typed")
        told = [line["event"] for line in ran.lines]
        assert ran.code == 0 and told == ["view", "detached"], "it attaches, and opens nothing"
        assert ask(socket_path(name), Request("view")) is not None
    assert called("daemon", fen.path, "--detach").code == 2


@pytest.mark.parametrize("how", ["stop", "SIGTERM", "SIGINT"])
def test_it_stops_cleanly_by_command_or_signal(start: Start, fen: SurveyFolder, how: str) -> None:
    process = start()
    face = RemoteFace(socket_path(fen.path))
    confirm(face, "83 25.4")
    process.send_signal(signal.SIGHUP)  # the terminal it was started from is closed
    if how == "stop":
        ran = called("daemon", fen.path, "--stop")
        assert (ran.code, ran.out, ran.err) == (0, "stopped\n", "")
    else:
        process.send_signal(getattr(signal, how))
    assert process.wait(60) == 0
    face.close()
    assert not socket_path(fen.path).exists()
    assert process.stderr is not None
    assert process.stderr.read() == b""
    assert called("daemon", fen.path, "--status").code == 1
    assert called("daemon", fen.path, "--stop").code == 2
    assert saved(fen) == ["83 25.4"]


def test_the_log_holds_no_speech_unless_asked(start: Start, fen: SurveyFolder) -> None:
    log = log_path(fen.path)
    for options, holds in (((), False), (("--log-speech",), True)):
        process = start(*options)
        with RemoteAgain(socket_path(fen.path)) as face:
            confirm(face, "83 25.4" if holds else "86 27.2")
        process.terminate()
        process.wait(60)
        text = log.read_text(encoding="utf-8")
        assert "saved entry" in text
        assert ("25.4" in text) is holds
        assert "27.2" not in text
    assert stat.S_IMODE(log.stat().st_mode) == 0o600


def test_everything_it_makes_is_closed_to_others(shared: Shared) -> None:
    fen = shared.fen
    made = [shared.path, log_path(fen.path), *fen.path.rglob("*")]
    open_ones = [str(path) for path in made if stat.S_IMODE(path.stat().st_mode) & 0o077]
    assert open_ones == []
    assert stat.S_IMODE(runtime_folder().stat().st_mode) == 0o700


def test_another_user_is_refused(shared: Shared) -> None:
    if os.geteuid() != 0 or shutil.which("setpriv") is None:
        pytest.skip("becoming another user needs root and setpriv")
    path, places = shared.path, shared.places
    program = (
        "import socket,sys; s=socket.socket(socket.AF_UNIX); s.settimeout(60)\n"
        "try: s.connect(sys.argv[1]); print(s.recv(4096).decode())\n"
        "except PermissionError: print('shut')"
    )
    command = ["setpriv", "--reuid=65534", "--clear-groups", sys.executable, "-c", program]

    def stranger() -> str:
        done = subprocess.run([*command, str(path)], capture_output=True, text=True, check=False)
        return done.stdout + done.stderr

    assert stranger() == "shut\n", "the folder and the socket keep others out"
    # Even were both open by mistake, the daemon asks the kernel who is there.
    shut = {part: part.stat().st_mode for part in (places, places / "run", path.parent, path)}
    for part in shut:
        part.chmod(0o666 if part == path else 0o755)
    assert "another user's" in stranger()
    assert "hello" not in stranger()
    for part, mode in shut.items():
        part.chmod(mode)
    assert ask(path, Request("view")) is not None


def test_a_folder_that_is_not_ours_alone_is_refused(tmp_path: Path) -> None:
    safe_folder(tmp_path / "new")
    assert stat.S_IMODE((tmp_path / "new").stat().st_mode) == 0o700
    (tmp_path / "open").mkdir(mode=0o700)
    (tmp_path / "open").chmod(0o755)
    (tmp_path / "link").symlink_to(tmp_path / "new")
    for name in ("open", "link"):
        with pytest.raises(OperatorError):
            safe_folder(tmp_path / name)


# ---- hostile ones of our own user ----


def raw(path: Path) -> socket.socket:
    made: list[socket.socket] = []

    def let_in() -> bool:  # more may knock than can be let in at once
        made.extend(one for one in [connected(path)] if one is not None)
        return bool(made)

    wait_for(let_in)
    made[0].settimeout(60)
    return made[0]


def nonsense(chance: random.Random) -> bytes:
    """Bytes no client of ours sends; invented."""
    kind = chance.randrange(6)
    if kind == 0:
        return chance.randbytes(chance.randrange(1, 3000))
    if kind == 1:
        return b"\n" * chance.randrange(1, 500)
    if kind == 2:
        return b'{"v":2,"do":' + chance.randbytes(40) + b"}\n"
    if kind == 3:
        do = chance.choice(["press", "open", "mute"])
        odd = {"v": VERSION, "do": do, "kind": "confirm", "plot": "\x1b[2J", "who": 3}
        return json.dumps(odd).encode() + b"\n"
    if kind == 4:
        return b"x" * (MOST_ASKED_BYTES + chance.randrange(9000))
    return (
        json.dumps({"v": VERSION, "do": "open", "plot": "../../x", "who": "\x1b]0;x"}).encode()
        + b"\n"
    )


def test_a_fuzzed_socket_changes_nothing_and_serves_on(shared: Shared) -> None:
    rounds = int(os.environ.get("CALLOUT_SOCKET_FUZZ", "300"))
    fen, process = shared.fen, shared.process
    path, chance = shared.path, random.Random(83)
    with RemoteAgain(path) as face:
        face.submit("67 24.4", 0)
        wait_for(lambda: face.view().waiting > 0)
        waiting = face.view().waiting
        with fen.reading() as reader:
            entries = len(list(reader.entries()))
        for _ in range(rounds):
            with raw(path) as stranger:
                try:
                    for _ in range(chance.randrange(1, 8)):
                        stranger.sendall(nonsense(chance))
                except OSError:
                    continue  # it was let go
        assert process.poll() is None
        assert face.view().waiting == waiting
        with fen.reading() as reader:
            assert len(list(reader.entries())) == entries, "nothing came of it"
        face.press("confirm", waiting)
        wait_for(lambda: shared.saved("67") == ["24.4"])
    wait_for(lambda: threads_of(process.pid) < 30)


def cpu_s(pid: int) -> float:
    """Seconds of processor time of the process so far (proc(5): utime and stime)."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def threads_of(pid: int) -> int:
    return len(list(Path(f"/proc/{pid}/task").iterdir()))


def test_one_that_never_reads_delays_nobody(shared: Shared) -> None:
    path = shared.path
    deaf = raw(path)
    flood = threading.Thread(target=flooded, args=(deaf,))
    flood.start()
    with RemoteAgain(path) as face:
        confirm(face, "70 16.1")
        flood.join(120)
        assert not flood.is_alive()
    deaf.close()
    wait_for(lambda: attached(path) > 0)


def test_too_many_clients(places: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = places / "run" / "callout" / "fen"
    monkeypatch.setattr(server_module, "IDLE_S", 3600.0)
    server = Server(path, {}, lambda request: None)
    server.start()
    many = [raw(path) for _ in range(MOST_CLIENTS)]
    with raw(path) as late:
        assert b"attached and busy" in late.recv(4096)
    monkeypatch.setattr(server_module, "IDLE_S", 0.0)
    with raw(path) as late:
        assert b"hello" in late.recv(4096), "whoever asks nothing gives way"
    for one in many:
        one.close()
    wait_for(lambda: attached(path) > 0)
    server.close()


def test_a_flood_of_lines_is_answered_and_what_was_taken_is_written_before_stopped(
    start: Start, fen: SurveyFolder, capsys: pytest.CaptureFixture[str]
) -> None:
    process = start("--plot", "K1")
    line = json.dumps({"v": VERSION, "do": "submit", "text": "hello", "waiting": 0}) + "\n"
    ask_view = json.dumps({"v": VERSION, "do": "view"}) + "\n"
    lines, told = 2000, [b""]
    with raw(socket_path(fen.path)) as many:
        many.settimeout(300)
        reading = threading.Thread(target=read_all, args=(many, told))
        reading.start()
        many.sendall(line.encode() * lines + ask_view.encode())
        wait_for(lambda: b'"view"' in told[0], 300)
        assert main(["daemon", str(fen.path), "--stop"]) == 0
        assert "stopped" in capsys.readouterr().out
        with fen.reading() as reader:
            taken, last = len(reader.of_kind("heard")), reader.last
            sealed = reader.latest("sealed")
            assert sealed is not None
            assert sealed.seq == last, "sealed before it says stopped"
        reading.join(60)
    refused = told[0].count(b"was not taken")
    assert taken + refused == lines, "each was written, or refused by an answer"
    assert refused > 0
    process.wait(60)
    with fen.reading() as reader:
        assert reader.last == last, "nothing was written after it said so"


def read_all(connection: socket.socket, into: list[bytes]) -> None:
    with contextlib.suppress(OSError):
        while data := connection.recv(65536):
            into[0] += data


def attached(path: Path) -> int:
    """1 where another client would be served now."""
    with raw(path) as one:
        return int(b"hello" in one.recv(4096))


def flooded(deaf: socket.socket) -> None:
    """Ask and ask and never read an answer, until let go."""
    try:
        for _ in range(20_000):
            deaf.sendall(b'{"v":2,"do":"view"}\n' * 10)
    except OSError:
        pass


# ---- the service manager ----


def test_it_tells_the_service_manager_how_it_is(
    start: Start, fen: SurveyFolder, places: Path
) -> None:
    """After sd_notify(3): READY=1, WATCHDOG=1 often enough, STOPPING=1."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(places / "notify"))
        manager.settimeout(60)
        process = start(NOTIFY_SOCKET=str(places / "notify"), WATCHDOG_USEC="1500000")
        assert manager.recv(100) == b"READY=1"
        told_s = [time.monotonic()]

        def often_enough() -> bool:
            assert manager.recv(100) == b"WATCHDOG=1"
            told_s.append(time.monotonic())
            return sum(after - before < 1.5 for before, after in itertools.pairwise(told_s)) == 3

        wait_for(often_enough)  # a busy machine may be late with some
        process.terminate()
        while (state := manager.recv(100)) == b"WATCHDOG=1":
            pass
        assert state == b"STOPPING=1"


def test_install_shows_asks_and_writes_only_then(fen: SurveyFolder, places: Path) -> None:
    unit = places / "config" / "systemd" / "user" / unit_name(fen.path)
    ran = called("daemon", fen.path, "--install", stdin="no\n")
    assert ran.code == 0
    assert "[Service]" in ran.out
    assert "Nothing was written" in ran.out
    assert not unit.exists()
    ran = called("daemon", fen.path, "--install", "--plot", "K1", stdin="y\n")
    assert ran.code == 0
    text = unit.read_text(encoding="utf-8")
    assert f'"{fen.path.resolve()}" "--plot" "K1"' in text
    for line in ("Type=notify", "WatchdogSec=60", "Restart=on-failure", "UMask=0077"):
        assert line in text.splitlines()
    if (verify := shutil.which("systemd-analyze")) is not None:
        done = subprocess.run(
            [verify, "--user", "verify", str(unit)], capture_output=True, text=True, check=False
        )
        assert str(unit.name) not in done.stderr, done.stderr


def test_a_folder_s_name_cannot_write_into_the_unit(tmp_path: Path) -> None:
    text = unit_text(tmp_path / 'a"%n $X \\', ["/usr/bin/callout", 'a"%n $X \\'])
    assert '"a\\"%%n $$X \\\\"' in text
    with pytest.raises(OperatorError):
        unit_text(tmp_path / "x", ["callout", "a\nExecStartPre=/bin/rm"])
    assert "\n[Service]\nx" not in unit_text(tmp_path / "a\n[Service]\nx", ["callout"])


def test_detach_and_status(fen: SurveyFolder) -> None:
    ran = run_callout("daemon", fen.path, "--detach", "--engine", "pocketsphinx", "--plot", "K1")
    try:
        assert ran.code == 0, ran.err
        with RemoteAgain(socket_path(fen.path)) as face:
            all_told(face)
        told = called("daemon", fen.path, "--status")
        assert "plot K1" in told.out
        assert "0 of 12 trees done" in told.out
        assert "fault: There is no microphone. Connect one" in told.out
    finally:
        assert called("daemon", fen.path, "--stop").code == 0
    refused = run_callout("daemon", fen.path, "--detach", "--engine", "none")
    assert refused.code == 2
    assert "unknown engine" in refused.err


def test_a_closed_face_shows_nothing_that_could_be_confirmed() -> None:
    waiting = View("K1", "R.V.", "in", Phase.PENDING, waiting=9, tag="83", value="25.4")
    face = RemoteFace.__new__(RemoteFace)
    face._view, face._listeners, face._connection = (
        waiting,
        [],
        None,
    )  # as if it had just lost its daemon
    face._first, face._asked = threading.Event(), Future[bool]()
    face._wording = WORDS
    face._lost()
    assert face._asked.result(0) is False, "what was typed has no answer"
    assert face.view() == replace(
        waiting,
        phase=Phase.CLOSED,
        waiting=0,
        tag="",
        value="",
        tone="refused",
        faults=(WORDS.part(GONE),),
    )
