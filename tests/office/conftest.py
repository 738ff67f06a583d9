"""The planted site, made once for the room; each test works on a copy of its own."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from office_served import Served
from office_sites import planted

from callout.office import asked


@pytest.fixture(scope="session")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return planted(tmp_path_factory.mktemp("office"))


@pytest.fixture
def site(made: Path, tmp_path: Path) -> Path:
    shutil.copytree(made, tmp_path / "fen")
    return tmp_path / "fen"


@pytest.fixture
def served(site: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Served]:
    # Twenty at once take turns; a busy machine is given time for them all.
    monkeypatch.setattr(asked, "_WAIT_S", 180.0)
    serving = Served(site)
    yield serving
    serving.close()
