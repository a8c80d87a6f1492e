"""Owns the writing of one file: whole or not at all, and never in place of another one by mistake."""

from __future__ import annotations

import contextlib
import os
import secrets
import shutil
from pathlib import Path

from stubsi.checks import checked
from stubsi.errors import FileError
from stubsi.files.opened_file import file_path
from stubsi.unit_errors import as_shown


def write_file(path: str | os.PathLike[str], text: str, *, replace: bool) -> Path:
    """Write a text to a file in UTF-8.

    The text is first written to the disk beside the file. Then it takes the name of the file in one step. So a file is
    never half old and half new, and a full disk changes nothing.

    Parameters
    ----------
    path : path
        The file. Its folder must exist.
    text : str
        What to write.
    replace : bool
        Whether a file of that name may be replaced.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    FileError
        It is not a path, the file exists and may not be replaced, or it cannot be written.
    BoardError
        ``replace`` is neither True nor False.
    """
    checked(replace, "replace", bool)
    file = file_path(path)
    if not file.name:
        raise FileError(f"path = {as_shown(str(path))}: is no path of a file.")
    exists = f"{file}: exists already; choose another name, or give replace=True to replace it."
    beside = file.with_name(f".{secrets.token_hex(8)}.part")
    try:
        if os.path.lexists(file):
            if not replace:
                raise FileError(exists)
            file = Path(os.path.realpath(file))  # of a link, the file that it leads to is replaced
            beside = file.with_name(beside.name)
        write_new(beside, text)
        take_place(beside, file, replace=replace)
    except FileExistsError:
        raise FileError(exists) from None
    except FileError:
        raise
    except OSError as error:
        raise FileError(f"{as_shown(str(file))}: cannot be written: {error.strerror}.") from None
    except ValueError:  # a path with a NUL character, or with half of a surrogate pair
        raise FileError(f"path = {as_shown(str(path))}: is no path of a file.") from None
    finally:
        with contextlib.suppress(OSError, ValueError):
            beside.unlink(missing_ok=True)
    return file


def write_new(path: Path, text: str) -> None:
    """Write a text in UTF-8 to a new file, to the disk.

    Parameters
    ----------
    path : Path
        The file.
    text : str
        What to write.

    Raises
    ------
    OSError
        There is a file of that name, or it cannot be written.
    """
    with path.open("x", encoding="utf-8", newline="\n") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())


def take_place(written: Path, place: Path, *, replace: bool) -> None:
    """Give a file its name in one step. A link, unlike a move, never takes the place of a file that has just come.

    Parameters
    ----------
    written : Path
        The file, in the folder of its place.
    place : Path
        The name it gets.
    replace : bool
        Whether a file of that name may be replaced; the new one then gets its permissions.

    Raises
    ------
    OSError
        There is a file of that name and it may not be replaced, or the name cannot be given.
    """
    if replace:
        with contextlib.suppress(FileNotFoundError):
            shutil.copymode(place, written)
        written.replace(place)
        return
    try:
        os.link(written, place)
    except FileExistsError:
        raise
    except OSError:  # the file system knows no links: take the name first, with an empty file
        place.open("x").close()
        written.replace(place)
