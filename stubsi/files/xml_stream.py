"""Owns the reading of an XML file piece by piece: no tree is built, and what could fill time or memory is refused."""

from __future__ import annotations

import math
import os
import re
from typing import TYPE_CHECKING, NoReturn
from xml.parsers import expat

from stubsi.checks import one_line
from stubsi.errors import FileError, StubsiError
from stubsi.files.opened_file import file_path, opened
from stubsi.unit_errors import as_shown

if TYPE_CHECKING:
    from collections.abc import Callable

LARGEST_FILE = 2_000_000_000
"""Largest file that is read [bytes]. Board files of tens of megabytes are common; common practice, no source."""
DEEPEST = 64
"""Most elements inside each other. The schemas of IPC-2581 need less than 20."""
LARGEST_NUMBER = 1e12
"""Largest number that is read. In microns this is a thousand kilometres, so no board has it."""
LONGEST_TEXT = 300
"""Most characters of a name. Longer ones would fill the memory and every table."""

LONGEST_NUMBER = 60
"""Most characters of a number."""

_PIECE, _TOLD_AT = 1 << 16, 1 << 20
PLAIN_NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?")
"""A number as it is read."""

Attributes = dict[str, str]
"""Attributes of an element by local name."""


class XmlStream:
    """Reads one XML file and calls ``start`` and ``end`` of a subclass for every element, by local name.

    Parameters
    ----------
    path : path
        The file.

    Raises
    ------
    FileError
        It is not a path.
    """

    def __init__(self, path: str | os.PathLike[str]) -> None:
        self.path = file_path(path)
        self.file = self.path.name
        self.depth = 0
        self._parser = expat.ParserCreate()
        self._parser.StartElementHandler = self._start
        self._parser.EndElementHandler = self._end
        self._parser.StartDoctypeDeclHandler = self._doctype

    def start(self, name: str, attributes: Attributes) -> None:
        """Take the start of an element. Subclasses do so.

        Parameters
        ----------
        name : str
            Local name, without the prefix of a namespace.
        attributes : dict
        """
        raise NotImplementedError

    def end(self, name: str) -> None:
        """Take the end of an element. Subclasses do so.

        Parameters
        ----------
        name : str
            Local name.
        """
        raise NotImplementedError

    def read(self, progress: Callable[[int, int], object] | None = None) -> None:
        """Read the whole file.

        Parameters
        ----------
        progress : callable, optional
            Called with the bytes that were read and those of the whole file, at every megabyte and at the end.

        Raises
        ------
        FileError
            The file cannot be read, is too large, is no well-formed XML, declares a DOCTYPE, or is nested too deeply.
            The error text names file and line.
        """
        size = 0
        with opened(self.path) as file:
            whole = os.fstat(file.fileno()).st_size
            while piece := file.read(_PIECE):
                size += len(piece)
                if size > LARGEST_FILE:
                    raise FileError(f"{self.file}: is larger than {LARGEST_FILE // 1_000_000} MB; too large.")
                self._parse(piece, last=False)
                if progress is not None and size % _TOLD_AT == 0:
                    progress(size, max(size, whole))
            self._parse(b"", last=True)
        if progress is not None:
            progress(size, size)

    def _parse(self, piece: bytes, *, last: bool) -> None:
        try:
            self._parser.Parse(piece, last)
        except StubsiError:
            raise
        except expat.ExpatError as error:
            raise FileError(
                f"{self.file}: line {error.lineno}: is no well-formed XML: {expat.ErrorString(error.code)}; export "
                f"the file again."
            ) from None
        except (LookupError, ValueError) as error:  # an encoding that is unknown, or of several bytes per character
            self.refuse(f"the text cannot be decoded ({error}); save the file as UTF-8")

    def _start(self, name: str, attributes: Attributes) -> None:
        self.depth += 1
        if self.depth > DEEPEST:
            self.refuse(f"more than {DEEPEST} elements lie inside each other; no board file needs that")
        if any(":" in key for key in attributes):
            attributes = {key.rpartition(":")[2]: value for key, value in attributes.items()}
        self.start(name.rpartition(":")[2], attributes)

    def _end(self, name: str) -> None:
        self.depth -= 1
        self.end(name.rpartition(":")[2])

    def _doctype(self, *_: object) -> None:
        self.refuse("declares a DOCTYPE, which can define entities; board files need none, so remove it")

    @property
    def line(self) -> int:
        """Line of the file that is being read, counted from 1."""
        return self._parser.CurrentLineNumber

    def refuse(self, why: str, line: int | None = None) -> NoReturn:
        """Refuse the file.

        Parameters
        ----------
        why : str
            What is wrong, and how to mend it.
        line : int, optional
            Where it stands; the line that is being read if it is not given.

        Raises
        ------
        FileError
            Always.
        """
        raise FileError(f"{self.file}: line {self.line if line is None else line}: {why}.")

    def text(self, attributes: Attributes, key: str, element: str) -> str:
        """Attribute that must be given and not be blank.

        Parameters
        ----------
        attributes : dict
        key : str
            Name of the attribute.
        element : str
            Name of the element, for the error text.

        Returns
        -------
        str
        """
        value = self.optional(attributes, key, element)
        if not value:
            self.refuse(f"{element} has no {key}")
        return value

    def optional(self, attributes: Attributes, key: str, element: str) -> str:
        """Attribute that may be left out: one line, without blanks around it.

        Parameters
        ----------
        attributes : dict
        key, element
            As in ``text``.

        Returns
        -------
        str
            Blank where it is not given.
        """
        value = attributes.get(key, "").strip()
        if len(value) > LONGEST_TEXT or one_line(value) != value:
            self.refuse(f"{element} {key} = {as_shown(value)}: must be one line of at most {LONGEST_TEXT} characters")
        return value

    def number(self, attributes: Attributes, key: str, element: str) -> float:
        """Attribute that must be a plain finite number.

        Parameters
        ----------
        attributes : dict
        key, element
            As in ``text``.

        Returns
        -------
        float
        """
        given = attributes.get(key, "")
        if len(given) <= LONGEST_NUMBER and PLAIN_NUMBER.fullmatch(given) and abs(float(given)) <= LARGEST_NUMBER:
            return float(given)  # as nearly all of them are; the others are refused with their reason
        value = self.text(attributes, key, element)
        if len(value) > LONGEST_NUMBER or not PLAIN_NUMBER.fullmatch(value):
            self.refuse(f"{element} {key} = {as_shown(value)}: must be a plain finite number like 0.25")
        number = float(value)
        if not math.isfinite(number) or abs(number) > LARGEST_NUMBER:
            self.refuse(f"{element} {key} = {as_shown(value)}: is larger than anything on a board")
        return number
