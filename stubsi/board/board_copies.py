"""Owns the methods by which a board answers "what if": each gives a copy of it with one thing changed."""

from __future__ import annotations

from typing import TYPE_CHECKING, cast

from stubsi.board import changed_board, changed_padstack

if TYPE_CHECKING:
    from collections.abc import Iterable

    from stubsi.board.board import Board
    from stubsi.board.padstack import Antipad, Padstack
    from stubsi.units import Dimensioned


class BoardCopies:
    """The methods ``with_...`` of a board. Each returns another board; the board itself stays as it is."""

    @property
    def _board(self) -> Board:
        """The board itself, because nothing else has these methods."""
        return cast("Board", self)

    def with_antipad(
        self,
        *,
        antipad: Dimensioned | Antipad,
        padstack: str | None = None,
        hole: str | None = None,
        net: str | None = None,
        layer: str | None = None,
    ) -> Board:
        """Copy of this board with another clearance around some holes.

        Parameters
        ----------
        antipad : length or Antipad
            The other clearance.
        padstack, hole, net : str
            Name of the padstack, hole or net that it is for; exactly one of them. A padstack that other holes keep as
            it is gets a second name for the changed holes, like "via of CLK".
        layer : str, optional
            The plane that it is for. Unless it is given: every plane, and every layer with a clearance of its own.

        Returns
        -------
        Board
            With the same nets otherwise.

        Raises
        ------
        UnitError, BoardError
            No clearance, no such name, a layer without plane, a length where a pair shares a slot, or a board that
            contradicts itself.
        """

        def change(old: Padstack) -> Padstack:
            return changed_padstack.with_other_antipad(self._board, old, antipad, layer)

        return changed_padstack.board_with_padstack(self._board, changed_padstack.HolesOf(padstack, hole, net), change)

    def with_drill(
        self,
        *,
        drill: Dimensioned,
        finished: Dimensioned | None = None,
        padstack: str | None = None,
        hole: str | None = None,
        net: str | None = None,
    ) -> Board:
        """Copy of this board with another primary drill of some holes. Pads and clearances stay as they are.

        Parameters
        ----------
        drill : length
            Diameter of the other drill.
        finished : length, optional
            Diameter after plating. Unless it is given, it stays as it is.
        padstack, hole, net : str
            Name of the padstack, hole or net that it is for; exactly one of them, as in ``with_antipad``.

        Returns
        -------
        Board
            With the same nets otherwise.

        Raises
        ------
        UnitError, BoardError
            No diameter, no such name, or a drill that does not fit its pad, antipad or neighbours.
        """
        sizes = {"drill": drill} | ({} if finished is None else {"finished": finished})
        return changed_padstack.board_with_padstack(
            self._board, changed_padstack.HolesOf(padstack, hole, net), lambda old: old.replaced(**sizes)
        )

    def with_dk(
        self,
        *,
        dk: float,
        dk_in_plane: float | None = None,
        material: str | None = None,
        between: Iterable[str] | None = None,
    ) -> Board:
        """Copy of this board with another Dk of its dielectrics.

        Parameters
        ----------
        dk : float
            Relative permittivity [-] along z.
        dk_in_plane : float, optional
            Relative permittivity [-] in the plane of the glass. It must be given for dielectrics that state it.
        material : str, optional
            Only dielectrics of this material.
        between : pair of layer names, optional
            Only dielectrics between these two copper layers.

        Returns
        -------
        Board
            With the same nets.

        Raises
        ------
        UnitError, BoardError
            No Dk, no such material or layer, or nothing of it there.
        """
        return changed_board.board_with_dk(self._board, dk, dk_in_plane, material, between)

    def with_layer(self, *, net: str, from_layer: str, to_layer: str) -> Board:
        """Copy of this board with a net moved from one layer to another in all its holes.

        Parameters
        ----------
        net : str
            Name of the net.
        from_layer, to_layer : str
            The layer that it leaves, and the layer that it goes to.

        Returns
        -------
        Board
            With the same nets otherwise.

        Raises
        ------
        BoardError
            No such net or layer; the net does not use the first one, or must not or cannot use the second.
        """
        return changed_board.board_with_layer(self._board, net, from_layer, to_layer)

    def with_waiver(self, *, net: str, waiver: str) -> Board:
        """Copy of this board where a net need not meet its criterion.

        Parameters
        ----------
        net : str
            Name of the net.
        waiver : str
            Reason; a blank text takes the waiver away.

        Returns
        -------
        Board
            With the same nets otherwise.

        Raises
        ------
        BoardError
            No such net, or a reference net; no text.
        """
        return changed_board.board_with_waiver(self._board, net, waiver)

    def with_return_via(
        self, *, net: str, padstack: str, x: Dimensioned, y: Dimensioned, name: str | None = None
    ) -> Board:
        """Copy of this board with one more return via.

        Parameters
        ----------
        net : str
            Name of a reference net.
        padstack : str
            Name of a padstack of this board.
        x, y : length
            Position.
        name : str, optional
            Name of the new hole; "GND added" or the like unless it is given.

        Returns
        -------
        Board
            With the same nets otherwise.

        Raises
        ------
        UnitError, BoardError
            No such reference net or padstack, no position, or a place that is taken.
        """
        return changed_board.board_with_return_via(self._board, net, padstack, (x, y), name)
