"""Owns the reading of a TOML file: UTF-8 text, refused if too large or too deep, and parsed to a table."""

from __future__ import annotations

import re
import tomllib
from typing import TYPE_CHECKING, Any, TypeAlias

from stubsi.errors import FileError
from stubsi.files.opened_file import file_path, opened

if TYPE_CHECKING:
    import os
    from pathlib import Path

Table: TypeAlias = dict[str, Any]
"""A parsed table of the file. Its values are of any type until a schema has checked them."""

LARGEST_FILE = 200_000_000
"""Largest file that is read [bytes]. It holds about 500,000 nets. Larger files would fill the memory."""
MOST_KEY_PARTS = 20
"""Most parts of a dotted key, as in a.b.c. A board needs three. The parser's time and memory grow with their square."""

_QUOTED = re.compile(r'"(?:[^"\\]|\\.)*"|' + r"'[^']*'")
_NO_KEY = re.compile(r"[^\w\-. \t]+")


def parsed_file(path: str | os.PathLike[str]) -> tuple[str, Table]:
    """Read and parse a TOML file.

    Parameters
    ----------
    path : path
        The file.

    Returns
    -------
    tuple
        Name of the file without its folder, for error texts, and the parsed table.

    Raises
    ------
    FileError
        It is not a path, there is no such file, or the file is not UTF-8, too large, too deep, or not TOML. The error
        text names the line where it can.
    """
    file = file_path(path)
    return file.name, parsed_text(_text(_content(file), file.name), file.name)


def parsed_text(text: str, name: str) -> Table:
    """Parse a TOML text.

    Parameters
    ----------
    text : str
        The text of a file.
    name : str
        Name of the file, for error texts.

    Returns
    -------
    dict
        The parsed table.

    Raises
    ------
    FileError
        It is too deep, or not TOML.
    """
    _refuse_long_keys(text, name)
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise FileError(f"{name}: not valid TOML: {error}.") from None
    except RecursionError:
        raise FileError(f"{name}: lists or tables are nested too deeply for a board file.") from None
    except ValueError as error:  # for example an integer of thousands of digits
        raise FileError(f"{name}: holds a value that cannot be read: {error}.") from None


def _content(path: Path) -> bytes:
    with opened(path) as file:
        content = file.read(LARGEST_FILE + 1)
    if len(content) > LARGEST_FILE:
        raise FileError(f"{path}: is larger than {LARGEST_FILE // 1_000_000} MB, too large for a board file.")
    return content


def _text(content: bytes, name: str) -> str:
    """Bytes of a file as text; FileError where they are no UTF-8."""
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise FileError(f"{name}: is UTF-16 text; save it as UTF-8.")
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise FileError(f"{name}: line {line} is not UTF-8 text; save the file as UTF-8.") from None
    if "\0" in text:
        raise FileError(f"{name}: is a binary file, not a board file in TOML.")
    return text


def _refuse_long_keys(text: str, name: str) -> None:
    """Refuse a key of very many parts, like a.b.c.d, because the parser would take very long for it."""
    for number, line in enumerate(text.split("\n"), 1):
        if line.count(".") < MOST_KEY_PARTS:
            continue
        code = _QUOTED.sub("q", line).partition("#")[0]
        if any(piece.count(".") >= MOST_KEY_PARTS for piece in _NO_KEY.split(code)):
            raise FileError(f"{name}: line {number} holds a key of more than {MOST_KEY_PARTS} parts.")
