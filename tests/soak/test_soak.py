"""A slice of the soak: every kind of fault once, and the journal equal to what was confirmed.

``CALLOUT_SOAK="480 2000"`` (minutes of sound, callouts) runs the full one, for an hour or so.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

SOAKING = Path(__file__).parent / "soaking.py"
LEAST_KINDS = 15
MOST_GROWTH_MB = 5.0


def ran(*options: str) -> subprocess.CompletedProcess[str]:
    # A soak reads what is told in English, as the tests do.
    path = os.pathsep.join([str(SOAKING.parents[1] / "wording"), os.environ.get("PYTHONPATH", "")])
    done = subprocess.run(
        [sys.executable, str(SOAKING), *options],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "PYTHONPATH": path.rstrip(os.pathsep)},
    )
    if done.returncode == 2:
        pytest.skip(done.stdout)
    return done


def test_readings_saved_equal_readings_confirmed_whatever_fails(
    capsys: pytest.CaptureFixture[str],
) -> None:
    full = os.environ.get("CALLOUT_SOAK")
    minutes, callouts = full.split() if full else ("4", "28")
    done = ran("--minutes", minutes, "--callouts", callouts, *([] if full else ["--every", "1"]))
    assert done.returncode == 0, done.stdout + done.stderr[-3000:]
    with capsys.disabled():
        print("\n" + done.stdout)
    table = re.findall(r"^(\S.*?)\s{2,}(\d+)\s+(\d+)$", done.stdout, re.MULTILINE)
    kinds = {name: (int(injected), int(survived)) for name, injected, survived in table}
    assert len(kinds.keys() - {"none"}) >= LEAST_KINDS
    assert all(injected == survived for injected, survived in kinds.values()), kinds
    assert "readings lost: 0 " in done.stdout
    assert "readings invented: 0 " in done.stdout
    threads, files = re.findall(r"(\d+) -> (\d+)", done.stdout)
    assert int(threads[1]) <= int(threads[0]) + 2
    assert int(files[1]) <= int(files[0]) + 4
    if full:
        growth = re.search(r"growth (-?\d+\.\d) MB", done.stdout)
        assert growth is not None
        assert float(growth[1]) < MOST_GROWTH_MB
