"""Where the data files that come with the program lie: grammars and recordings.

In an installed package they are inside it; in a checkout they stand at the top level.
"""

from __future__ import annotations

from pathlib import Path

from callout.core.errors import OperatorError
from callout.grammar.language import Language, read_language

_PACKAGE = Path(__file__).resolve().parent.parent


def data_folder(name: str) -> Path:
    """The folder ``grammars`` or ``audio_fixtures``. Raises OperatorError if it did not come."""
    for folder in (_PACKAGE / "data" / name, _PACKAGE.parent / name):
        if folder.is_dir():
            return folder
    raise OperatorError(f"the folder {name} did not come with this installation: install it again")


def load_language(code: str, species: tuple[str, ...] = ()) -> Language:
    """The language of ``grammars/CODE.jsgf``. Raises OperatorError for one that is not there."""
    folder = data_folder("grammars")
    path = folder / f"{code}.jsgf"
    if not code.isalpha() or not path.is_file():
        known = ", ".join(sorted(item.stem for item in folder.glob("*.jsgf")))
        raise OperatorError(f"no grammar for language {code!r}: there is {known}")
    return _language(code, path, folder / f"{code}.dict", species)


def load_grammar(path: Path, code: str, species: tuple[str, ...] = ()) -> Language:
    """A grammar file of somebody's own, with the pronunciations of language ``code``.

    A file of the same name that ends in ``.dict`` is taken for those instead. Raises OperatorError.
    """
    if not path.is_file():
        raise OperatorError(f"there is no grammar at {path}")
    beside = path.with_suffix(".dict")
    usual = data_folder("grammars") / f"{code}.dict"
    return _language(code, path, beside if beside.is_file() else usual, species)


def _language(code: str, path: Path, dictionary: Path, species: tuple[str, ...]) -> Language:
    try:
        words = dictionary.read_text(encoding="utf-8") if dictionary.is_file() else ""
        return read_language(code, path.read_text(encoding="utf-8"), words, species)
    except (OSError, UnicodeDecodeError) as error:
        raise OperatorError(f"{path} cannot be read as a grammar: {error}") from None
