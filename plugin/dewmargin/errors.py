"""Every error raised on purpose: one sentence that names the place and the remedy."""

from __future__ import annotations


class DewmarginError(Exception):
    """The root of all errors raised on purpose; `exit_code` is what the command line returns."""

    exit_code = 1


class InputError(DewmarginError):
    """An input is refused.

    Parameters
    ----------
    what : str
        What is wrong, with the value found.
    file : object, optional
        The file it was found in.
    where : str, optional
        The place in the file: a key, or a line with its field.
    hint : str, optional
        What to do about it.

    Notes
    -----
    The text is ``FILE: WHERE: what (hint)``.
    """

    exit_code = 3

    def __init__(
        self, what: str, *, file: object = None, where: str | None = None, hint: str | None = None
    ) -> None:
        places = [str(place) for place in (file, where) if place is not None]
        text = ": ".join([*places, what]) + (f" ({hint})" if hint else "")
        super().__init__(text.replace("\r", "\\r").replace("\n", "\\n"))
        self.what, self.file, self.where, self.hint = what, file, where, hint


class OutOfRangeError(InputError, ValueError):
    """A value lies outside the range in which it has a meaning."""


class ExtensionError(InputError):
    """A strategy, an equipment, a reader or a report cannot be found, loaded or trusted."""


class OutputError(DewmarginError):
    """A result cannot be written."""

    exit_code = 4
