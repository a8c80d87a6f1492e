"""Owns the writing of a folder of files: each file is written whole or not at all, and none is lost by mistake."""

from __future__ import annotations

import contextlib
import os
import secrets
from pathlib import Path
from typing import TYPE_CHECKING

from stubsi.errors import FileError
from stubsi.files.written_file import take_place, write_new
from stubsi.unit_errors import as_shown

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

MOST_NAMED = 3
"""Most files that an error text names."""


def folder_path(folder: str | os.PathLike[str]) -> Path:
    """Path of a folder that a user gave.

    Parameters
    ----------
    folder : path

    Returns
    -------
    Path

    Raises
    ------
    FileError
        It is not a path.
    """
    try:
        given = os.fspath(folder)
        if not isinstance(given, str) or not given.strip() or "\0" in given:
            raise TypeError
        os.fsencode(given)
    except (TypeError, UnicodeEncodeError):
        raise FileError(f"folder = {as_shown(folder)}: must be the path of a folder, as text or Path.") from None
    return Path(given)


def write_files(folder: Path, texts: Mapping[str, str], outdated: Iterable[str] = (), *, replace: bool) -> None:
    """Write files into a folder, which is made where there is none.

    Every file is first written beside its place, to the disk. Only when all are, they take their places, each in one
    step. So a file is never half old and half new, and a full disk changes nothing.

    Parameters
    ----------
    folder : Path
        The folder.
    texts : mapping of file name to str
        What to write.
    outdated : iterable of str
        Names of files in the folder that belong to an earlier hand-off and are not written again.
    replace : bool
        Whether files that exist are replaced, and those that are outdated are removed.

    Raises
    ------
    FileError
        A file exists and is not to be replaced, or the folder cannot be written to.
    """
    kept = sorted({*outdated, *(name for name in texts if os.path.lexists(folder / name))})
    if kept and not replace:
        more = f" and {len(kept) - MOST_NAMED} more" if len(kept) > MOST_NAMED else ""
        raise FileError(
            f"{as_shown(str(folder))}: {', '.join(kept[:MOST_NAMED])}{more} there already; choose another "
            "folder, or give replace=True in Python to replace this hand-off."
        )
    mark, beside = secrets.token_hex(8), []
    try:
        folder.mkdir(exist_ok=True)
        for name, text in texts.items():
            beside.append((folder / f".{name}.{mark}", folder / name))
            write_new(beside[-1][0], text)
        for written, place in beside:
            take_place(written, place, replace=replace)
        for name in outdated:
            (folder / name).unlink(missing_ok=True)
    except OSError as error:
        hint = "see that the folder above it exists and that files may be written there"
        if os.path.isfile(folder):
            hint = "it is a file; give a folder"
        raise FileError(f"{as_shown(str(folder))}: cannot be written: {error.strerror}; {hint}.") from None
    finally:
        for written, _ in beside:
            with contextlib.suppress(OSError):
                written.unlink(missing_ok=True)
