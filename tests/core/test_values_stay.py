"""What the pure parts hand about are values: nobody can change one that another holds."""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Iterator
from dataclasses import FrozenInstanceError, fields, is_dataclass

import pytest

import callout.core
import callout.grammar
import callout.session


def values() -> Iterator[type]:
    for package in (callout.core, callout.grammar, callout.session):
        for found in pkgutil.iter_modules(package.__path__, f"{package.__name__}."):
            module = importlib.import_module(found.name)
            for item in vars(module).values():
                if isinstance(item, type) and item.__module__ == found.name and is_dataclass(item):
                    yield item


def test_there_are_values_to_look_at() -> None:
    names = {value.__name__ for value in values()}
    assert {"Reading", "Meaning", "Memory", "Pending", "Turn", "Automaton", "Scope"} <= names


@pytest.mark.parametrize("value", list(values()), ids=lambda value: value.__name__)
def test_a_value_cannot_be_changed(value: type) -> None:
    blank = object.__new__(value)
    name = fields(value)[0].name  # type: ignore[arg-type]
    with pytest.raises(FrozenInstanceError):
        setattr(blank, name, None)
