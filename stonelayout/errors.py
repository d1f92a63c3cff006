"""The errors that stonelayout raises: one root, and one class for each kind of bad input."""

from __future__ import annotations

from collections.abc import Iterable


class StoneLayoutError(Exception):
    """Root of every error raised on purpose.

    Its text is one clear line, ``FILE:LINE: ELEMENT: message``, with the parts that are known.
    """

    def __init__(
        self,
        message: str,
        *,
        file: str | None = None,
        line: int | None = None,
        element: str | None = None,
    ) -> None:
        super().__init__(message)
        self.message = message
        self.file = file
        self.line = line
        self.element = element

    def __str__(self) -> str:
        place = self.file or ""
        if self.line is not None:
            place += f":{self.line}" if place else f"line {self.line}"
        parts = [part for part in (place, self.element, self.message) if part]
        return ": ".join(parts)

    def in_file(self, file: str) -> StoneLayoutError:
        """Name the file, where the raiser did not know it; return the error itself."""
        if self.file is None:
            self.file = file
        return self


class InputError(StoneLayoutError, ValueError):
    """Something the user gave cannot be used: exit code 2."""


class ArtworkError(InputError):
    """The artwork cannot be read, or holds nothing that can be laid."""


class CatalogueError(InputError):
    """A catalogue file is wrong, or has no such stone, sheet, colour or cutter."""


class LayoutError(InputError):
    """A layout or hole file cannot be read, or a rule cannot be carried out."""


class JobError(InputError):
    """A job file is wrong. ``problems`` lists all that was found, one line each."""

    def __init__(self, problems: Iterable[str]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(self.problems))


class MissingExtraError(StoneLayoutError, ImportError):
    """An optional extra is needed and not installed; the message says how to get it."""


class VerificationError(StoneLayoutError):
    """Files written by stonelayout do not read back as what was meant: our bug, exit code 3."""
