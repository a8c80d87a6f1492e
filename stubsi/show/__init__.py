"""Owns how results are shown: text, CSV, Markdown, HTML; plots (the only package that knows matplotlib).

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
