"""Owns the second tier on a board: each case solved from its geometry, where that is known."""

from __future__ import annotations

from stubsi.margin.uniform import uniform_models

solved_models = uniform_models
