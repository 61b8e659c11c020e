"""Reading a number as people write it: "4k7", "0R22", "9,6 mV", "3300 mfd", "-12.5 °C"."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

from backtospec.errors import BenchError, Choice, Question
from backtospec.quantity.units import Unit, in_unit, spelled, to_si, unit_named

LONGEST = 60
"""Characters; nobody types a longer number."""

LARGEST_EXPONENT = 99
"""With it, every number that is accepted stays within a float."""

_SAME = str.maketrans(
    {
        **dict.fromkeys("−–‐‑‒", "-"),
        **dict.fromkeys("º˚", "°"),
        **dict.fromkeys("’ʼ", "'"),
        **dict.fromkeys("·٫", "."),
    }
)
_NOT_FOLDED = ("<super>", "<sub>", "<circle>", "<fraction>")
"""Characters that would turn into other numbers if folded: 10² is not 102."""

_PLAIN = re.compile(r"([-+]?)\s*([0-9.,' ]*[0-9.])((?:[eE][-+]?[0-9]+)?)\s*(\D*)")
_LETTER_AS_MARK = re.compile(r"([-+]?)\s*([0-9]*)([^\W\d_])([0-9]+)\s*(\D*)")
_NUMBER = re.compile(r"[0-9]+(?:[.,][0-9]+)*")
_MARKED_DIMENSIONS = ("Ω", "F", "H", "V", "A", "W", "Hz")


@dataclass(frozen=True, slots=True)
class _Number:
    """One way to read the digits: the number, the size of its last digit, and a plain spelling."""

    value: Fraction
    last_digit: Fraction
    plain: str
    means: str = ""


@dataclass(frozen=True, slots=True)
class _Candidate:
    """One way to read the whole text."""

    number: _Number
    unit: Unit
    suffix: str

    @property
    def si(self) -> float:
        return float(self.number.value * self.unit.factor + self.unit.offset)


@dataclass(frozen=True, slots=True)
class _Field:
    """What the field wants."""

    unit: str
    where: str
    low: float | None
    high: float | None

    def holds(self, si: float) -> bool:
        low = self.low is None or si >= _bound(self.low, self.unit)
        high = self.high is None or si <= _bound(self.high, self.unit)
        return low and high

    @property
    def accepted(self) -> str:
        """The range and unit in words."""
        unit = f" {self.unit}" if self.unit else ""
        if self.low is not None and self.high is not None:
            return f"{self.low:.12g}…{self.high:.12g}{unit}"
        if self.low is not None:
            return f"{self.low:.12g}{unit} or more"
        if self.high is not None:
            return f"{self.high:.12g}{unit} or less"
        return f"a number in {self.unit}" if self.unit else "a plain number"

    def refuse(self, what: str, fix: str) -> BenchError:
        return BenchError(what, self.where, fix)


_bound = lru_cache(to_si)


def read(
    text: str, unit: str, where: str, low: float | None = None, high: float | None = None
) -> float:
    """Return the SI value of a number as people write it.

    Parameters
    ----------
    text
        As typed. Decimal point or comma, thousands set apart, a letter as decimal mark (4k7,
        0R22), any usual spelling of unit and prefix, full-width digits, either minus sign.
    unit
        Assumed for a bare number; fixes the dimension. Percent, decibel, °C and years stay
        themselves.
    where
        The field, named as the person knows it.
    low, high
        What is plausible, in ``unit``, bounds included; ``None`` is open.

    Raises
    ------
    BenchError
        Where there is no number, more than one, another dimension, or a value out of range.
    Question
        Where two readings are both plausible, such as 10,000.

    Notes
    -----
    A point is a decimal point. A single comma before exactly three digits can be either mark;
    the range decides where only one reading is plausible. "MV" is taken as millivolts unless only
    megavolts are plausible; "mF" can be the old sign for microfarad. Letter as decimal mark:
    IEC 60062.

    Examples
    --------
    >>> read("9,6 mV", "mV", "idle voltage"), read("4k7", "Ω", "R12"), read("68 °F", "°C", "room")
    (0.0096, 4700.0, 20.0)
    >>> read("1200", "°C", "heatsink", -20, 200)
    Traceback (most recent call last):
    backtospec.errors.BenchError: heatsink: 1200 °C is outside -20…200 °C. Check the unit.
    """
    return _choose(text, _Field(unit, where, low, high)).si


def resolution(text: str, unit: str, low: float | None = None, high: float | None = None) -> float:
    """Return the SI size of one count of the last digit typed.

    Parameters
    ----------
    text, unit, low, high
        As for :func:`read`.

    Examples
    --------
    >>> resolution("9.6 mV", "mV"), resolution("4k7", "Ω"), resolution("1.20", "V")
    (0.0001, 100.0, 0.01)
    """
    chosen = _choose(text, _Field(unit, "reading", low, high))
    return float(chosen.number.last_digit * chosen.unit.factor)


def _choose(text: str, field: _Field) -> _Candidate:
    """Return the one reading of a text that is plausible, or refuse, or ask."""
    quoted = _quoted(text)
    candidates = _candidates(text, field)
    plausible = [c for c in candidates if field.holds(c.si)]
    if not plausible:
        raise _out_of_range(quoted, candidates[0], field)
    units = {c.unit for c in plausible}
    if plausible[0].unit.dimension == "F" and len(units) > 1 and plausible[0].number.value:
        raise _unit_question(text, plausible, field)
    numbers = _distinct(c.number for c in plausible)
    if len(numbers) > 1:
        suffix = plausible[0].suffix
        raise Question(
            f"{quoted} can be read as {' or as '.join(n.means for n in numbers)}.",
            field.where,
            f"Write {' or '.join(n.plain for n in numbers)}.",
            about="decimal_mark",
            quotes=(text,),
            choices=tuple(Choice(f"{n.plain} {suffix}".strip(), n.means) for n in numbers),
            option="--set",
        )
    return plausible[0]


def _distinct(numbers: Iterable[_Number]) -> list[_Number]:
    return list({number.value: number for number in numbers}.values())


def _out_of_range(quoted: str, candidate: _Candidate, field: _Field) -> BenchError:
    """Say that the likeliest reading is out of range, in the field's unit beside the typed text."""
    number = f"{in_unit(candidate.si, field.unit):.6g}"
    shown = f"{number} {field.unit}".strip()
    if quoted not in (_quoted(number), _quoted(shown)):
        shown = f"{quoted} ({shown})"
    if field.low is not None and field.high is not None:
        return field.refuse(f"{shown} is outside {field.accepted}.", "Check the unit.")
    return field.refuse(f"{shown} is not accepted, only {field.accepted}.", "Check the unit.")


def _unit_question(text: str, plausible: list[_Candidate], field: _Field) -> Question:
    """Ask which unit is meant; the answers are spelled in µF, which has one meaning."""
    microfarads = list(dict.fromkeys(f"{in_unit(c.si, 'µF'):.15g} µF" for c in plausible))
    return Question(
        f"{_quoted(text)} can be read as {' or as '.join(microfarads)}.",
        field.where,
        "Write it in µF.",
        about="unit",
        quotes=(text,),
        choices=tuple(Choice(micro, micro) for micro in microfarads),
        option="--set",
    )


def _quoted(text: str) -> str:
    """Return a text in quotation marks, on one line and not too long."""
    shown = "".join(c if c.isprintable() else " " if c.isspace() else "\ufffd" for c in text)
    return f"“{shown if len(shown) <= LONGEST else shown[: LONGEST - 1] + '…'}”"


def _candidates(text: str, field: _Field) -> list[_Candidate]:
    """Return every reading of a text in the field's dimension, the likeliest first."""
    if len(text) > LONGEST:
        raise field.refuse(f"{_quoted(text)} is too long.", f"Give {_one(field)}.")
    folded = _fold(text, field)
    if not folded:
        raise field.refuse("nothing was given.", f"Give {_one(field)}.")
    wanted = unit_named(field.unit)
    if wanted.dimension == "s" and folded.lower().startswith("after "):
        folded = folded[len("after ") :].lstrip()
    marked, plain = _LETTER_AS_MARK.fullmatch(folded), _PLAIN.fullmatch(folded)
    found = _letter_as_mark(marked, wanted) if marked else []
    numbers = []
    if plain:
        sign, digits, exponent, suffix = plain.groups()
        if exponent and abs(int(exponent[1:])) > LARGEST_EXPONENT:
            raise field.refuse(
                f"{_quoted(text)} has an exponent beyond ±{LARGEST_EXPONENT}.",
                f"Give {_one(field)}.",
            )
        numbers = _numbers(sign, digits.strip(), exponent)
        units = spelled(suffix, wanted)
        found += [_Candidate(n, u, suffix.strip()) for n in numbers for u in units]
    if not found:
        raise _unread(_quoted(text), folded, bool(marked or numbers), field)
    return found


def _unread(quoted: str, folded: str, is_number: bool, field: _Field) -> BenchError:
    """Say why a text gives no reading: another dimension, several numbers, or none."""
    if is_number:
        fault = f"is not in {field.unit}" if field.unit else "is not a plain number"
    elif len(_NUMBER.findall(folded)) > 1:
        fault = "holds more than one number"
    else:
        fault = "is not a number"
    return field.refuse(f"{quoted} {fault}.", f"Give {_one(field)}.")


def _one(field: _Field) -> str:
    within = field.low is not None or field.high is not None
    return f"one number, {field.accepted}" if within else field.accepted.replace("a ", "one ", 1)


def _fold(text: str, field: _Field) -> str:
    """Return a text with one spelling for every digit, minus, degree, micro and space."""
    if text.isascii():
        return " ".join(text.split())
    text = text.translate(_SAME)
    for character in text:
        if unicodedata.decomposition(character).startswith(_NOT_FOLDED):
            raise field.refuse(
                f"{_quoted(text)} holds “{character}”, which is not read.",
                f"Give {_one(field)}.",
            )
    folded = unicodedata.normalize("NFKC", text).translate(_SAME)
    return "".join(
        str(unicodedata.digit(c)) if c.isdecimal() else c for c in " ".join(folded.split())
    )


def _letter_as_mark(match: re.Match[str], wanted: Unit) -> list[_Candidate]:
    """Return the readings of 4k7, R22, 2u2, 4V7, 0E22: the letter stands for the decimal mark."""
    sign, whole, letter, fraction, tail = match.groups()
    if wanted.dimension not in _MARKED_DIMENSIONS:
        return []
    # E is an ohm on some European resistors; a lower-case e only ever is an exponent.
    as_ohm = wanted.dimension == "Ω" and letter == "E"
    units = spelled((tail or "R") if as_ohm else letter + tail, wanted)
    plain = f"{sign}{whole or '0'}.{fraction}"
    number = _number(plain)
    return [_Candidate(number, unit, unit.name) for unit in units]


def _number(plain: str, means: str = "") -> _Number:
    """Return a number from a plain spelling such as -12.50e3."""
    mantissa, _, exponent = plain.lower().partition("e")
    places = len(mantissa.partition(".")[2])
    last_digit = Fraction(10) ** (int(exponent or 0) - places)
    return _Number(Fraction(plain), last_digit, plain, means or plain)


def _numbers(sign: str, digits: str, exponent: str) -> list[_Number]:
    """Return the readings of digits with marks in them; none where they make no number."""
    sign = "" if sign == "+" else sign

    def of(plain: str, means: str) -> _Number:
        return _number(sign + plain + exponent.lower(), means)

    if re.fullmatch(r"[1-9][0-9]{0,2}(?:([ '])[0-9]{3})(?:\1[0-9]{3})*(?:[.,][0-9]+)?", digits):
        digits = digits.replace(" ", "").replace("'", "")
        plain = digits.replace(",", ".")
        return [of(plain, plain)]
    if re.fullmatch(r"[0-9]+\.?|[0-9]*[.,][0-9]+", digits):
        plain = digits.replace(",", ".")
        plain = "0" + plain if plain.startswith(".") else plain
        if re.fullmatch(r"[1-9][0-9]{0,2},[0-9]{3}", digits):
            thousands = digits.replace(",", "")
            return [
                of(plain, f"{plain} (decimal comma)"),
                of(thousands, f"{thousands} (comma between thousands)"),
            ]
        return [of(plain, plain)]
    grouped = re.fullmatch(r"([1-9][0-9]{0,2}(?:([.,])[0-9]{3})+)(?:([.,])([0-9]+))?", digits)
    if grouped is None:
        return []
    whole, mark, point, fraction = grouped.groups()
    if point == mark:
        return []
    plain = re.sub("[.,]", "", whole) + (f".{fraction}" if fraction else "")
    return [of(plain, plain)]
