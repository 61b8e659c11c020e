"""The five questions asked before there is any file, and what their answers make."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TypeVar

from backtospec import quantity
from backtospec.errors import BenchError
from backtospec.records import Meter, Rating, SpecSheet, Topology
from backtospec.sources.spec_sheets import phrases
from backtospec.sources.spec_sheets.printed_line import read_rating

Value = TypeVar("Value")
Identity = tuple[str, str, int | None]

_DATED = re.compile(r"(.+?)[\s,]+\(?(19[4-9]\d|20\d\d|\?)\)?")
_ACCURACY = re.compile(
    r"(?:(?P<name>[^\W\d_].*?)[,:\s]\s*)?[±(\s]*(?P<percent>\d+(?:[.,]\d+)?)\s*%[^+]{0,20}?"
    r"(?:\+\s*(?P<counts>\d+(?:[.,]\d+)?)\s*(?:counts?|digits?|dgts?|d|lsd)?)?[\s).]*",
    re.I,
)


_LONGEST = 500  # characters of one answer


@dataclass(frozen=True, slots=True)
class FirstQuestion:
    """One question of first contact.

    Parameters
    ----------
    key
        The key of its answer.
    prompt
        The question, in the person's words.
    example
        An answer as it may be typed.
    needed
        False where an empty answer means that nobody knows yet.
    choices
        The words that are accepted, where they are a closed set.
    """

    key: str
    prompt: str
    example: str
    needed: bool = False
    choices: tuple[str, ...] = ()


def questions() -> tuple[FirstQuestion, ...]:
    """Return the five questions, in the order they are asked.

    Examples
    --------
    >>> [question.key for question in questions()]
    ['what', 'topology', 'claim', 'mains', 'meter']
    """
    return (
        FirstQuestion("what", "What is it? Maker, model, year.", "Halden, 62, 1977", needed=True),
        FirstQuestion(
            "topology",
            "What kind of output stage?",
            "quasi-complementary",
            choices=tuple(str(kind) for kind in Topology),
        ),
        FirstQuestion(
            "claim",
            "What does its maker claim? The printed line; several with ; between them.",
            "2 x 60 W into 8 ohm, 20-20000 Hz, 0.1 %",
        ),
        FirstQuestion("mains", "Which mains is it set to?", "220 V 50 Hz"),
        FirstQuestion("meter", "What have you got to measure with?", "bench meter, 0.5 % + 3"),
    )


def spec_from_answers(answers: Mapping[str, str]) -> SpecSheet:
    """Return the spec sheet that the answers make.

    Parameters
    ----------
    answers
        By the keys of :func:`questions`; an answer that is empty or missing leaves its part open.
        The meter is read by :func:`read_meter`: it is no part of the sheet.

    Raises
    ------
    BenchError
        With the faults of every answer at once.

    Examples
    --------
    >>> spec = spec_from_answers({"what": "Halden, 62, 1977", "claim": "60 W into 8 ohm; 80 W 4 Ω"})
    >>> spec.maker, spec.model, spec.year, [rating.power_w for rating in spec.ratings]
    ('Halden', '62', 1977, [60.0, 80.0])
    """
    faults: list[BenchError] = []

    def answer(key: str, read: Callable[[str, str], Value]) -> Value | None:
        text = answers.get(key, "").strip()
        if not text and key != "what":
            return None
        try:
            if len(text) > _LONGEST:
                raise BenchError(f"“{text[:40]}…” is too long.", key, "Say it in one line.")
            return read(text, key)
        except BenchError as error:
            faults.append(error)
            return None

    maker, model, year = answer("what", _identity) or ("", "", None)
    mains = answer("mains", phrases.read_mains) or (None, None)
    topology = answer("topology", phrases.read_topology)
    ratings = answer("claim", lambda text, where: _claims(text, where, year)) or ()
    answer("meter", read_meter)
    if len(faults) == 1:
        raise faults[0]
    if faults:
        raise BenchError.of(faults)
    return SpecSheet(
        maker=maker,
        model=model,
        year=year,
        topology=topology,
        mains_v=mains[0],
        mains_hz=mains[1],
        ratings=ratings,
    )


def read_meter(answer: str, where: str = "meter") -> Meter:
    """Return a meter and its accuracy from a line such as "bench meter, 0.5 % + 3".

    Parameters
    ----------
    answer
        A name if there is one, the percent of the reading, and the counts of the last digit.
    where
        The field, in the person's words.

    Raises
    ------
    BenchError
        Where no percentage is given.

    Examples
    --------
    >>> read_meter("bench meter, 0.5 % + 3")
    Meter(name='bench meter', percent=0.5, counts=3.0)
    >>> read_meter("±(1,2 % + 5 digits)")
    Meter(name='meter', percent=1.2, counts=5.0)
    """
    match = _ACCURACY.fullmatch(answer.strip())
    if match is None:
        raise BenchError(
            f"“{answer}” does not give a meter's accuracy.",
            where,
            "Write it as in its leaflet, such as “0.5 % + 3”.",
        )
    counts = match["counts"]
    return Meter(
        (match["name"] or "").strip() or "meter",
        quantity.read(match["percent"], "%", where, 0, 20),
        quantity.read(counts, "", where, 0, 1000) if counts else 0.0,
    )


def _identity(answer: str, where: str) -> Identity:
    """Return maker, model and year from "Halden, 62, 1977", "Halden 62 (1977)" or "Halden 62"."""
    dated = _DATED.fullmatch(answer)
    named = dated[1] if dated else answer
    maker, _, model = (part.strip() for part in named.partition("," if "," in named else " "))
    if dated and not model:
        raise BenchError(
            f"“{answer}”: {dated[2]} can be the model or the year.",
            where,
            f"Write all three, such as “{maker}, 62, {dated[2]}”, with ? for a year nobody knows.",
        )
    if not maker or not model:
        raise BenchError(
            f"“{answer}” does not name maker and model." if answer else "nothing was given.",
            where,
            "Write maker, model and year with commas, such as “Halden, 62, 1977”.",
        )
    return maker, model, int(dated[2]) if dated and dated[2] != "?" else None


def _claims(answer: str, where: str, year: int | None) -> tuple[Rating, ...]:
    """Return a rating for each line of a claim."""
    lines = [line.strip() for line in re.split(r"[;\n]", answer) if line.strip()]
    return tuple(read_rating(line, f"first contact: {line}", where, year) for line in lines)
