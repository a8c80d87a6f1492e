"""The public names of the library, for the tests that look at each of them."""

from __future__ import annotations

import inspect

import stubsi

PUBLIC = sorted(stubsi._MODULE_OF)
"""Names in ``stubsi/__init__.pyi``."""

PUBLIC_FUNCTIONS = [name for name in PUBLIC if inspect.isfunction(getattr(stubsi, name))]
"""Those of them that are functions."""
