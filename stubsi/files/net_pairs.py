"""Owns which nets of an exchange file are the two halves of a pair: as the file says, and as the user gives it."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from stubsi.board.names import near_names
from stubsi.checks import checked, pairs
from stubsi.errors import BoardError
from stubsi.files.by_name import as_pattern
from stubsi.unit_errors import as_shown

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping, Sequence

WILDCARD = re.compile(r"\*+|\?")


class NetPairs:
    """The other half of every net that is half of a pair.

    Parameters
    ----------
    given : mapping of str to str
        Half P to half N, as names or patterns. What ``*`` and ``?`` stand for in the first is put in their place in the
        second.
    nets : collection of str
        Nets of the file.
    of_file : mapping of net to net
        Pairs that the file states.

    Raises
    ------
    BoardError
        A half is not in the file, is in two pairs, or the file states another pair; a pattern matches nothing, or its
        two halves hold different wildcards.
    """

    def __init__(self, given: object, nets: Collection[str], of_file: Mapping[str, str]) -> None:
        self._partner = dict(of_file)
        self._half_p: set[str] = set()
        known = set(nets)
        for half_p, half_n in pairs(given, "pairs"):
            self._add(checked(half_p, "pairs key"), checked(half_n, f"pairs of {as_shown(half_p)}"), known)

    def other(self, net: str) -> str | None:
        """The other half of a net, None where it is single.

        Parameters
        ----------
        net : str

        Returns
        -------
        str or None
        """
        return self._partner.get(net)

    def is_half_p(self, net: str) -> bool:
        """Whether a net is the half P of its pair: as given, or by its name; of two other names the first by order.

        Parameters
        ----------
        net : str
            A net that has another half.

        Returns
        -------
        bool
        """
        other = self._partner[net]
        if {net, other} & self._half_p:
            return net in self._half_p
        return net.endswith(("P", "p", "+")) or (not other.endswith(("P", "p", "+")) and net < other)

    def _add(self, half_p: str, half_n: str, known: set[str]) -> None:
        if WILDCARD.findall(half_p) != WILDCARD.findall(half_n):
            raise BoardError(
                f"pairs: {as_shown(half_p)} and {as_shown(half_n)} must hold the same * and ?, in the same order."
            )
        pattern = as_pattern(half_p)
        found = [(net, match) for net in sorted(known) if (match := pattern.fullmatch(net))]
        if not found:
            near = near_names(half_p, known)
            hint = f"; there are, for example, {', '.join(near)}" if near else ""
            raise BoardError(f"pairs: {as_shown(half_p)} matches no net of the file{hint}.")
        for net, match in found:
            self._join(net, _filled(half_n, match.groups()), known)

    def _join(self, half_p: str, half_n: str, known: set[str]) -> None:
        if half_n not in known:
            raise BoardError(f"pairs: {as_shown(half_p)} needs {as_shown(half_n)}, which is no net of the file.")
        if half_p == half_n:
            raise BoardError(f"pairs: {as_shown(half_p)} cannot be both halves of a pair.")
        for net, other in ((half_p, half_n), (half_n, half_p)):
            stated = self._partner.setdefault(net, other)
            if stated != other:
                raise BoardError(
                    f"pairs: {as_shown(net)} is paired with {as_shown(stated)} and with {as_shown(other)}; a net is "
                    f"half of one pair."
                )
        if half_n in self._half_p:
            raise BoardError(f"pairs: {as_shown(half_n)} is given as half P and as half N.")
        self._half_p.add(half_p)


def _filled(pattern: str, texts: Sequence[str]) -> str:
    """Name that a pattern becomes with its wildcards replaced by texts, in order."""
    pieces = WILDCARD.split(pattern)
    return pieces[0] + "".join(text + piece for text, piece in zip(texts, pieces[1:], strict=True))
