"""The ``[[device]]`` tables in the text of ``survey.toml``: reads them, and inserts one.

Text in, text out; comments and order stay as they are. The caller reads and writes the file.
"""

from __future__ import annotations

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import AoT

from callout.core.errors import OperatorError
from callout.devices.settings import DeviceSettings, devices_from, table_of


def with_device(text: str, device: DeviceSettings) -> str:
    """``text`` with ``device`` in it, replacing one of the same name, else at the end.

    Raises OperatorError if the text is not TOML, or its devices are invalid already.
    """
    try:
        document = tomlkit.parse(text)
    except TOMLKitError as error:
        raise OperatorError(f"survey.toml is not TOML: {error}") from None
    tables = document.get("device")
    if tables is None:
        tables = tomlkit.aot()
        if text.strip():
            document.add(tomlkit.nl())
        document.append("device", tables)
    devices_from(tables)
    if not isinstance(tables, AoT):
        raise OperatorError("device in survey.toml: write each device as a [[device]] table")
    table = tomlkit.table()
    table.update(table_of(device))
    names = [str(one.get("name")) for one in tables]
    if device.name in names:
        tables[names.index(device.name)] = table
    else:
        tables.append(table)
    devices_from(tables)
    return tomlkit.dumps(document)
