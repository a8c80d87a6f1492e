"""A pint registry of somebody else: the library takes quantities of any. Making one takes half a second."""

import pint

UREG = pint.UnitRegistry()
Q = UREG.Quantity
