"""``callout daemon``: the survey at work without a terminal; ``callout listen`` attaches to it."""

from __future__ import annotations

import argparse
import fcntl
import os
import subprocess
import sys
import time
from typing import Any

from callout.cli.asking import yes
from callout.cli.field.day import frames_of, work_of
from callout.cli.working import add_working_options, check_options, login
from callout.core.errors import DeviceError, OperatorError
from callout.core.saying import Saying
from callout.daemon.messages import Request
from callout.daemon.remote import ask
from callout.daemon.socket_place import log_path, socket_path, unit_name
from callout.daemon.system import unit_folder, unit_text
from callout.journal.folder import SurveyFolder, open_survey
from callout.journal.writer import refuse_in_use
from callout.station.hearing.launching import Child, launching
from callout.survey.files import write_whole
from callout.survey.guard import open_lock

START_S = 60.0
STOP_S = 300.0


def add_parser(subparsers: Any) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser("daemon")
    add_working_options(parser)
    parser.add_argument(
        "--log-speech", action="store_true", help="let the log hold words and values too"
    )
    doing = parser.add_mutually_exclusive_group()
    doing.add_argument("--detach", action="store_true", help="start it and give the terminal back")
    doing.add_argument("--stop", action="store_true", help="stop the one that runs")
    doing.add_argument("--status", action="store_true", help="say how the one that runs stands")
    doing.add_argument(
        "--install",
        action="store_true",
        help="show a systemd user unit that starts it and restarts it, ask, and write it",
    )
    parser.add_argument("--yes", action="store_true", help="with --install: do not ask")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Start the daemon, or ask the one at work."""
    check_options(args)
    if args.yes and not args.install:
        raise OperatorError("--yes goes with --install")
    folder = open_survey(args.survey)
    if args.stop:
        return _stop(folder)
    if args.status:
        return _status(folder)
    if args.install:
        return _install(folder, args)
    if args.detach:
        return _detach(folder, args)
    return _work(folder, args)


def _work(folder: SurveyFolder, args: argparse.Namespace) -> int:
    refuse_in_use(folder.path)
    # First of all: the recogniser's process loads beside this one.
    with launching(args.engine or folder.config().listening.engine) as child:
        return _hear(folder, args, child)


def _hear(folder: SurveyFolder, args: argparse.Namespace, child: Child) -> int:
    from callout.daemon import logs
    from callout.daemon.work import Daemon, Orders
    from callout.sound.sound_files import encode_flac
    from callout.station.build import make_station
    from callout.station.upkeep.clock import Clock
    from callout.station.upkeep.sealing import seal_session

    os.umask(0o077)
    frames = frames_of(args.audio) if args.audio else None
    clock = Clock()
    silenced: list[Saying] = []
    log = logs.open_log(log_path(folder.path))
    station = make_station(
        folder,
        encode_flac,
        args.engine,
        args.model,
        log.warning,
        clock,
        silenced.append,
        who=args.who or login(),
        child=child,
        plot=args.plot,
    )
    try:
        work = work_of(args, folder, station, frames, silenced[0] if silenced else None)
        return Daemon(folder, station, clock, Orders(work, args.log_speech)).run()
    finally:
        sealed, trouble = seal_session(folder, station)
        log.info(f"sealed: {sealed}; {trouble}" if trouble else f"sealed: {sealed}")
        station.close()


def _detach(folder: SurveyFolder, args: argparse.Namespace) -> int:
    path = socket_path(folder.path)
    if ask(path, Request("view")) is not None:
        raise OperatorError(f"a daemon is at work on {folder.path} already: attach with 'listen'")
    command = [*_command(folder, args), *(["--realtime"] if args.realtime else [])]
    if args.audio:
        command += ["--audio", str(args.audio.resolve())]
    child = subprocess.Popen(
        command,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        start_new_session=True,
        cwd="/",
    )
    until = time.monotonic() + START_S
    while time.monotonic() < until:
        if child.poll() is not None:
            assert child.stderr is not None
            sys.stderr.write(child.stderr.read().decode(errors="replace"))
            return child.returncode or 1
        if ask(path, Request("view")) is not None:
            print(f"at work on {folder.path}, process {child.pid}; 'callout listen' attaches")
            return 0
        time.sleep(0.1)
    child.terminate()
    raise DeviceError(
        f"the daemon did not start within {START_S:.0f} s: see {log_path(folder.path)}"
    )


def _command(folder: SurveyFolder, args: argparse.Namespace) -> list[str]:
    command = [sys.executable, "-P", "-m", "callout", "daemon", str(folder.path.resolve())]
    for name in ("plot", "who", "engine", "model"):
        if (value := getattr(args, name)) is not None:
            command += [f"--{name}", str(value)]
    command += ["--mute"] if args.mute else []
    return command + (["--log-speech"] if args.log_speech else [])


def _stop(folder: SurveyFolder) -> int:
    path = socket_path(folder.path)
    if ask(path, Request("stop")) is None:
        raise OperatorError(f"no daemon is at work on {folder.path}")
    until = time.monotonic() + STOP_S
    while path.exists() or not _given_up(folder):
        if time.monotonic() > until:
            raise DeviceError(
                f"the daemon still writes and seals after {STOP_S:.0f} s: wait, or see the log"
            )
        time.sleep(0.05)
    print("stopped")
    return 0


def _given_up(folder: SurveyFolder) -> bool:
    """Whether nobody holds the journal any more: everything is written, its seal too."""
    lock = open_lock(folder.path / ".lock")
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    finally:
        os.close(lock)
    return True


def _status(folder: SurveyFolder) -> int:
    told = ask(socket_path(folder.path), Request("view"))
    if told is None:
        print(f"no daemon is at work on {folder.path}")
        return 1
    from callout.lookback.telling import plain

    view = told["view"]
    print(f"at work on {folder.path}, process {told['hello']['pid']}")
    print(f"plot {plain(view.plot)}, {plain(view.who)}: {view.done} of {view.total} trees done")
    print(f"engine: {plain(view.engine)}" + (", muted" if view.muted else ""))
    for fault in view.faults:
        print(f"fault: {plain(fault)}")
    print(f"log: {log_path(folder.path)}")
    return 0


def _install(folder: SurveyFolder, args: argparse.Namespace) -> int:
    """Show the unit; write it only if that is wanted. The person starts it, not this command."""
    if args.audio:
        raise OperatorError("a unit listens to the microphone: leave --audio out")
    path = unit_folder() / unit_name(folder.path)
    text = unit_text(folder.path.resolve(), _command(folder, args))
    print(f"{path}:\n\n{text}")
    if path.exists():
        print("It exists already and would be replaced.")
    if not args.yes and not yes("Write it? [y/N] "):
        print("Nothing was written.")
        return 0
    path.parent.mkdir(parents=True, exist_ok=True)
    write_whole(path, text.encode())
    print(
        f"Written. To start it now and at every login:\n  systemctl --user daemon-reload\n"
        f"  systemctl --user enable --now {path.name}"
    )
    return 0
