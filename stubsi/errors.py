"""Owns the errors. All derive from StubsiError, which is a ValueError. The text names argument, value, rule and fix."""


class StubsiError(ValueError):
    """Base of every error the library raises on purpose."""


class UnitError(StubsiError):
    """A length, rate, frequency or other value with a unit is not usable as it was given."""


class BoardError(StubsiError):
    """A board, stackup, padstack, hole or net contradicts itself or another part of the board."""


class UnknownNameError(BoardError, KeyError):
    """No net or hole has this name; the text lists similar names."""

    def __str__(self) -> str:
        return str(self.args[0])


class FileError(BoardError):
    """A file cannot be read as a board; the text names file, table and key."""


class UnknownValueError(StubsiError):
    """A result needs a value that was not given; the text names it. Nothing is guessed."""


class ValidityError(StubsiError):
    """A geometry or frequency lies outside what a model covers."""


class PlausibilityWarning(UserWarning):
    """A value that is possible but unlike any plated hole; the text names it and what to check."""
