"""Compiled grammars, kept in the user's cache: compiling one takes longer than a short command.

A file is named by a digest of the rules and of the compiler's own source, and holds one of its
content; if anything is wrong with it the grammar is compiled again. Never in a survey's folder.
"""

from __future__ import annotations

import gc
import hashlib
import marshal
import os
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import replace
from functools import cache, partial
from pathlib import Path
from typing import Any

import callout.grammar
from callout.core.errors import StorageError
from callout.grammar.automaton import Automaton
from callout.grammar.compiling import compile_grammar
from callout.grammar.jsgf import Grammar
from callout.grammar.scope import Scope, narrowed_to
from callout.survey.files import cache_folder, write_whole

_MOST_BYTES = 64_000_000
MOST_KEPT = 40
"""The files to keep, those used last: each new tree in a plot makes another one."""
_DIGEST_BYTES = 32


def compiled(grammar: Grammar, root: str, scope: Scope | None = None) -> Automaton:
    """As ``language.made``, but from the cache if possible."""
    path = _path(grammar, root, scope)
    with suppress(OSError, ValueError, EOFError, TypeError), _uncollected():
        found = _read(path)
        _used(path)
        return found
    if scope is None:
        make = partial(compile_grammar, grammar, root)
    else:
        make = partial(narrowed_to, compiled(grammar, root), scope)
    with _uncollected():
        made = make()
    with suppress(OSError, StorageError):  # no cache available: it is compiled each time
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        write_whole(path, _written(made))
        _drop_oldest(path.parent)
    return made


@contextmanager
def _uncollected() -> Iterator[None]:
    """Without the garbage collector, which takes half of the time to find nothing."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def _used(path: Path) -> None:
    """Note it in the time of access, which not every disk keeps by itself."""
    with suppress(OSError):  # a cache that may only be read
        os.utime(path, ns=(time.time_ns(), path.stat().st_mtime_ns))


def _drop_oldest(folder: Path) -> None:
    kept = sorted(folder.glob("*.bin"), key=lambda path: path.stat().st_atime_ns, reverse=True)
    for path in kept[MOST_KEPT:]:
        path.unlink(missing_ok=True)


def _path(grammar: Grammar, root: str, scope: Scope | None) -> Path:
    rules = f"{_compiler()} {root} {sorted(grammar.rules.items())!r}"
    if scope is not None:
        tags = None if scope.tags is None else sorted(scope.tags)
        rules += f" {replace(scope, tags=None)!r} {tags!r}"
    digest = hashlib.sha256(rules.encode("utf-8", "surrogatepass")).hexdigest()
    return cache_folder("grammars") / f"{digest}.bin"


@cache
def _compiler() -> str:
    whole = hashlib.sha256(sys.version.encode())
    for path in sorted(Path(callout.grammar.__file__).parent.glob("*.py")):
        whole.update(path.read_bytes())
    return whole.hexdigest()


def _written(automaton: Automaton) -> bytes:
    whole: Any = (automaton.start, automaton.finals, automaton.ways)
    plain = marshal.dumps(whole)
    return hashlib.sha256(plain).digest() + plain


def _read(path: Path) -> Automaton:
    with path.open("rb") as file:
        data = file.read(_MOST_BYTES)
    digest, plain = data[:_DIGEST_BYTES], data[_DIGEST_BYTES:]
    if hashlib.sha256(plain).digest() != digest:
        raise ValueError("damaged")
    start, finals, ways = marshal.loads(plain)
    return Automaton(start, finals, ways)
