"""The only error a person sees: what happened, where, and what to do about it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is wrong, in the words of the person who can mend it.

    Parameters
    ----------
    what
        What was received and why it cannot be used.
    where
        The field, file or line, named as the person knows it.
    fix
        One action that mends it.
    """

    what: str
    where: str
    fix: str

    def __str__(self) -> str:
        return f"{self.where}: {self.what} {self.fix}"


class BenchError(Exception):
    """Input that cannot be used, or a job that cannot go on.

    Parameters
    ----------
    what, where, fix
        See :class:`Fault`.

    Examples
    --------
    >>> str(BenchError("1200 °C is outside -20…200 °C.", "heatsink", "Check the unit."))
    'heatsink: 1200 °C is outside -20…200 °C. Check the unit.'
    """

    def __init__(self, what: str, where: str, fix: str) -> None:
        self.faults: tuple[Fault, ...] = (Fault(what, where, fix),)
        super().__init__(str(self.faults[0]))

    def __str__(self) -> str:
        return "\n".join(str(fault) for fault in self.faults)

    @classmethod
    def of(cls, errors: Iterable[BenchError]) -> BenchError:
        """Gather several errors into one, so that all faults of a form are shown at once."""
        faults = tuple(fault for error in errors for fault in error.faults)
        gathered = cls(faults[0].what, faults[0].where, faults[0].fix)
        gathered.faults = faults
        return gathered


@dataclass(frozen=True, slots=True)
class Choice:
    """One possible answer to a question: the value to give, and what it would mean."""

    value: str
    text: str


class Question(BenchError):  # noqa: N818 - a question, not a fault
    """Input that can be read in more than one way: asked about, never guessed.

    Parameters
    ----------
    what, where, fix
        See :class:`Fault`.
    about
        Short name of what is open, such as ``decimal_mark``, ``date_order`` or ``unit``.
    quotes
        The text, exactly as received, that can be read in several ways.
    choices
        The readings that are possible.
    option
        The command-line option that answers the question with a choice's value.
    """

    def __init__(
        self,
        what: str,
        where: str,
        fix: str,
        *,
        about: str,
        quotes: tuple[str, ...],
        choices: tuple[Choice, ...],
        option: str,
    ) -> None:
        super().__init__(what, where, fix)
        self.about = about
        self.quotes = quotes
        self.choices = choices
        self.option = option
