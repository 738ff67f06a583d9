"""``survey.toml`` as a table, before anybody checks what it says (``config``); loads little."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from callout.core.errors import CalloutError, OperatorError
from callout.survey.files import storage_errors
from callout.survey.guard import read_plain, refuse_deep

SETTINGS = "survey.toml"
ENGLISH = "en"


def read_settings(path: Path) -> dict[str, Any]:
    """The tables of the file at ``path``. Raises OperatorError if it is no TOML."""
    with storage_errors(f"cannot read {path}"):
        data = read_plain(path)
    refuse_deep(data, path)
    try:
        return tomllib.loads(data.decode("utf-8"))
    except UnicodeDecodeError as error:
        raise OperatorError(f"{path} is not UTF-8 (byte {error.start}): save it as UTF-8") from None
    except tomllib.TOMLDecodeError as error:
        raise OperatorError(f"{path} is not TOML: {error}") from None
    except (RecursionError, ValueError) as error:
        raise OperatorError(f"{path} cannot be read as settings: {error}") from None


def language_of(survey: Path) -> str:
    """The survey's language, to begin in; English if the file is wrong, which ``config`` tells."""
    try:
        language = read_settings(survey / SETTINGS)["survey"]["language"]
    except (CalloutError, KeyError, TypeError):
        return ENGLISH
    return language if isinstance(language, str) else ENGLISH
