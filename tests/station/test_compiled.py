"""A grammar from the cache is the grammar compiled; no cache, or a spoilt one, costs time only."""

from __future__ import annotations

from pathlib import Path

import pytest

from callout.grammar.compiling import compile_grammar
from callout.grammar.jsgf import parse_jsgf
from callout.station.compiled import compiled

TEXT = """#JSGF V1.0;
grammar little;
public <callout> = tree {@tag} <figure> <figure> | [um] yes {@confirm};
<figure> = one {1} | two {2} | "twenty one" {21};
"""


@pytest.fixture
def cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    return tmp_path / "callout" / "grammars"


def test_what_is_kept_is_what_was_compiled(cache: Path) -> None:
    grammar = parse_jsgf(TEXT)
    made = compile_grammar(grammar, "callout")
    assert [compiled(grammar, "callout") for _ in range(2)] == [made, made]
    (kept,) = cache.iterdir()
    assert kept.stat().st_mode & 0o077 == 0
    other = parse_jsgf(TEXT.replace("{2}", "{3}"))
    assert compiled(other, "callout") == compile_grammar(other, "callout") != made
    assert len(list(cache.iterdir())) == 2


def test_a_spoilt_file_is_made_anew(cache: Path) -> None:
    grammar = parse_jsgf(TEXT)
    made = compiled(grammar, "callout")
    (kept,) = cache.iterdir()
    whole = kept.read_bytes()
    for spoilt in (b"", whole[:20], whole[:-1], whole.replace(b"yes", b"yea"), b"x" + whole):
        assert spoilt != whole
        kept.write_bytes(spoilt)
        assert compiled(grammar, "callout") == made
        assert kept.read_bytes() == whole


def test_what_is_used_is_kept_however_many_come_after(
    cache: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A language's whole grammar is the first one made, and each new tree makes another."""
    monkeypatch.setattr("callout.station.compiled.MOST_KEPT", 3)
    first = parse_jsgf(TEXT)
    compiled(first, "callout")
    (whole,) = cache.iterdir()
    made = whole.stat().st_mtime_ns
    for number in range(3, 10):
        compiled(parse_jsgf(TEXT.replace("{2}", f"{{{number}}}")), "callout")
        compiled(first, "callout")
    assert len(list(cache.iterdir())) == 3
    assert whole.stat().st_mtime_ns == made, "it was not compiled again"


def test_where_nothing_can_be_kept_it_is_compiled(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").touch()
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "file"))
    grammar = parse_jsgf(TEXT)
    assert compiled(grammar, "callout") == compile_grammar(grammar, "callout")
