"""Owns how results are shown: text, CSV, Markdown, HTML; plots (the only package that knows matplotlib).

Rankings, plans and their parts print themselves as aligned text (``to_text(width)`` for another width), show as HTML in
a notebook, and give ``to_frame()``, ``to_csv()`` and ``to_markdown()``.

A source or a waiver of several lines stands on one line in every table, its line breaks written as a backslash and an
n. In a CSV an apostrophe stands before a text that a spreadsheet would take for a formula: net ``+3V3`` is written
``'+3V3``. Take one apostrophe off to have the name again; a name that begins with an apostrophe has one more. In
Markdown a backslash stands before a character that would be markup.

Its modules are loaded when they are first used.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from types import ModuleType


def __getattr__(name: str) -> ModuleType:
    from importlib import import_module
    from importlib.util import find_spec

    if not name.startswith("_") and find_spec(f"stubsi.show.{name}"):
        return import_module(f"stubsi.show.{name}")
    raise AttributeError(f"module 'stubsi.show' has no attribute '{name}'")


def __dir__() -> list[str]:
    from pkgutil import iter_modules

    return sorted({*globals(), *(module.name for module in iter_modules(__path__))})
