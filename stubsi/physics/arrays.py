"""Owns the names of the types of number the physics takes and gives: SI floats and arrays of them."""

from __future__ import annotations

from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

FloatArray: TypeAlias = NDArray[np.float64]
ComplexArray: TypeAlias = NDArray[np.complex128]
IndexArray: TypeAlias = NDArray[np.intp]
BoolArray: TypeAlias = NDArray[np.bool_]

FloatLike: TypeAlias = float | NDArray[np.floating[Any]] | NDArray[np.integer[Any]]
"""A real number or an array of them."""
ComplexLike: TypeAlias = complex | FloatLike | NDArray[np.complexfloating[Any, Any]]
"""A number or an array of them, real or complex: a complex frequency is an oscillation that decays."""
FrequencyArray: TypeAlias = FloatArray | ComplexArray
"""Frequencies [Hz], real or complex."""
