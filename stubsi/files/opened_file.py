"""Owns the opening of a file that a user named: what cannot be opened ends in an error that says why."""

from __future__ import annotations

from contextlib import contextmanager
from pathlib import Path
from typing import IO, TYPE_CHECKING

from stubsi.errors import FileError
from stubsi.unit_errors import as_shown

if TYPE_CHECKING:
    import os
    from collections.abc import Iterator


def file_path(path: str | os.PathLike[str]) -> Path:
    """Path that a user gave.

    Parameters
    ----------
    path : path

    Returns
    -------
    Path

    Raises
    ------
    FileError
        It is not a path.
    """
    try:
        return Path(path)
    except TypeError:
        raise FileError(f"path = {as_shown(path)}: must be the path of a board file, as text or Path.") from None


@contextmanager
def opened(path: Path) -> Iterator[IO[bytes]]:
    """Open a file to read its bytes.

    Parameters
    ----------
    path : Path

    Yields
    ------
    file

    Raises
    ------
    FileError
        There is no such file, it is a directory, or it cannot be read.
    """
    try:
        file = path.open("rb")
    except FileNotFoundError:
        raise FileError(f"{path}: no such file.") from None
    except IsADirectoryError:
        raise FileError(f"{path}: is a directory; give the file in it.") from None
    except OSError as error:
        raise _unreadable(path, error) from None
    except ValueError:  # the path holds a NUL character
        raise FileError(f"path = {as_shown(str(path))}: is no path of a file.") from None
    with file:
        try:
            yield file
        except OSError as error:
            raise _unreadable(path, error) from None


def _unreadable(path: Path, error: OSError) -> FileError:
    return FileError(f"{as_shown(str(path))}: cannot be read: {error.strerror}.")
