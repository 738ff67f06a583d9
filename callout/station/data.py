"""Finds the data files that come with the program: grammars and recordings.

In an installed package they are inside it; in a checkout they are at the top level.
"""

from __future__ import annotations

import os
from collections.abc import Iterable
from pathlib import Path

from callout.core.errors import OperatorError
from callout.grammar.language import Language, read_language
from callout.station.compiled import compiled
from callout.survey.species_table import common_of

_PACKAGE = Path(__file__).resolve().parent.parent


def data_folder(name: str) -> Path:
    """The folder ``grammars`` or ``audio_fixtures``. Raises OperatorError if it is missing."""
    for folder in (_PACKAGE / "data" / name, _PACKAGE.parent / name):
        if folder.is_dir():
            return folder
    raise OperatorError(f"the folder {name} did not come with this installation: install it again")


def grammar_folders() -> tuple[Path, ...]:
    """The folders of languages: that of ``CALLOUT_GRAMMARS``, if set, before our own."""
    own = os.environ.get("CALLOUT_GRAMMARS")
    return (*([Path(own).expanduser()] if own else []), data_folder("grammars"))


def load_language(
    code: str, species: tuple[str, ...] = (), plots: tuple[str, ...] = ()
) -> Language:
    """The language of ``CODE.jsgf``. Raises OperatorError if there is none."""
    folders = grammar_folders()
    found = next((path for path in _paths(folders, f"{code}.jsgf") if code.isalpha()), None)
    if found is None:
        known = ", ".join(sorted({item.stem for one in folders for item in one.glob("*.jsgf")}))
        raise OperatorError(f"no grammar for language {code!r}: there is {known}")
    return _language(code, found, species, plots)


def load_grammar(path: Path, code: str, species: tuple[str, ...] = ()) -> Language:
    """A user's own grammar file, with pronunciations of language ``code``.

    A file of the same name that ends in ``.dict`` replaces those. Raises OperatorError.
    """
    if not path.is_file():
        raise OperatorError(f"there is no grammar at {path}")
    return _language(code, path, species)


def _paths(folders: Iterable[Path], name: str) -> list[Path]:
    return [folder / name for folder in folders if (folder / name).is_file()]


def _language(
    code: str, path: Path, species: tuple[str, ...], plots: tuple[str, ...] = ()
) -> Language:
    def beside(suffix: str) -> str:
        own = path.with_suffix(suffix)
        found = [own] if own.is_file() else _paths(grammar_folders(), f"{code}{suffix}")
        return found[0].read_text(encoding="utf-8") if found else ""

    try:
        grammar = path.read_text(encoding="utf-8")
        common = common_of(species) if code == "en" else {}
        return read_language(code, grammar, beside(".dict"), species, plots, compiled, common)
    except (OSError, UnicodeDecodeError) as error:
        raise OperatorError(f"{path} cannot be read as a grammar: {error}") from None
