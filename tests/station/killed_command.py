"""Runs commands in forked processes that the file layer (``faulty_files.c``) kills on order.

A line of JSON on standard input: ``command`` (its words), ``env`` and ``said``, where its output
goes; answered by a line that says whether it was killed, and its exit code. ``tune`` stands for
what a tuning writes, since learning a head takes minutes and writes nothing.
"""

from __future__ import annotations

import json
import os
import signal
import sys
from pathlib import Path

import callout.cli.desk.erase_command
import callout.cli.desk.key_command
import callout.cli.desk.merge_command
import callout.cli.desk.new_command
import callout.cli.desk.rule_command
import callout.cli.disputes.rebuild_command
import callout.cli.disputes.verify_command
import callout.cli.field.remeasure_command
from callout.cli.main import main
from callout.journal.folder import SurveyFolder
from callout.station.data import load_language
from callout.tuning.tuning_kept import Record, keep

HEAD = b"invented head" * 1000


def tune(survey: str) -> int:
    """What is kept of a tuning."""
    folder = SurveyFolder(Path(survey))
    before = {"hang_over_s": None, "gate_least_dbfs": None}
    keep(folder, Record("R.V.", "2026-06-02T20:00", 0.6, -50.0, before, {}, "base"), HEAD)
    return 0


def done(order: dict[str, object]) -> dict[str, object]:
    """One command in a process of its own."""
    child = os.fork()
    if child == 0:
        code = 99
        try:
            os.environ.update(order["env"])  # type: ignore[call-overload]
            out = os.open(str(order["said"]), os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
            os.dup2(out, 1)
            os.dup2(out, 2)
            words: list[str] = order["command"]  # type: ignore[assignment]
            code = tune(words[1]) if words[0] == "tune" else main(words)
            sys.stdout.flush()
        except SystemExit as error:
            code = int(error.code or 0)
        finally:
            os._exit(code)
    _, status = os.waitpid(child, 0)
    if os.WIFSIGNALED(status):
        return {"killed": os.WTERMSIG(status) == signal.SIGKILL, "code": None}
    return {"killed": False, "code": os.WEXITSTATUS(status)}


if __name__ == "__main__":
    assert callout.cli.desk.erase_command, "loaded once, for every command"
    load_language("en")
    for line in sys.stdin:
        print(json.dumps(done(json.loads(line))), flush=True)
