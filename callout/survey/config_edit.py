"""Changes single settings in the text of ``survey.toml``; comments and order stay.

Text in, text out; ``config`` defines the settings.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from callout.core.errors import OperatorError


def with_settings(text: str, section: str, values: Mapping[str, Any]) -> str:
    """``text`` with ``values`` in ``section``; a value of None removes the setting.

    Raises OperatorError if the text is not TOML, or the section is not a table.
    """
    try:
        document = tomlkit.parse(text)
    except TOMLKitError as error:
        raise OperatorError(f"survey.toml is not TOML: {error}") from None
    table = document.get(section)
    if table is None:
        if text.strip():
            document.add(tomlkit.nl())
        table = tomlkit.table()
        document.append(section, table)
    if not isinstance(table, dict):
        raise OperatorError(f"{section} in survey.toml must be a section, as [{section}]")
    for key, value in values.items():
        if value is None:
            table.pop(key, None)
        else:
            table[key] = value
    return tomlkit.dumps(document)
