"""Owns how results are shown: text, CSV, Markdown, HTML; plots (the only package that knows matplotlib).

Its modules are loaded when they are first used.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from types import ModuleType

_MODULES = (
    "consequences_table", "html", "margin_table", "matrix_table", "plots", "schedule", "section", "tables",
)  # fmt: skip


def __getattr__(name: str) -> ModuleType:
    from importlib import import_module

    if name in _MODULES:
        return import_module(f"stubsi.show.{name}")
    raise AttributeError(f"module 'stubsi.show' has no attribute '{name}'")


def __dir__() -> list[str]:
    return sorted({*globals(), *_MODULES})
