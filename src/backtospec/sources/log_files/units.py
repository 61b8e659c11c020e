"""Units as logs and people write them, reduced to SI."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache

from backtospec.sources.log_files.numbers import Number


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit of a reading: SI unit and the power of ten that leads to it.

    ``scale`` is ``F`` or ``K`` for temperatures that also need a shift, and ``div`` for the
    divisions of an oscilloscope screen, whose worth is stated elsewhere.
    """

    symbol: str
    si: str
    power: int
    scale: str = ""

    def to_si(self, number: Number) -> Number:
        """Return the number in the SI unit, exact except for °F."""
        if self.scale == "K":
            return (
                Number(
                    number.count * 100 - 27315 * 10 ** max(0, -number.exponent), number.exponent - 2
                )
                if number.exponent <= 0
                else self.to_si(Number(number.count * 10**number.exponent, 0))
            )
        if self.scale == "F":
            # 5/9 has no end in decimals: 12 places are far below any thermometer's step
            exact = Number(number.count * 10 ** max(0, number.exponent), min(0, number.exponent))
            shifted = exact.count - 32 * 10**-exact.exponent
            return Number(_rounded(shifted * 5 * 10**12, 9), exact.exponent - 12)
        return number.scaled(self.power)

    def step_to_si(self, step: Number) -> Number:
        """Return a difference of two readings in the SI unit."""
        if self.scale == "F":
            return Number(_rounded(step.count * 5 * 10**12, 9), step.exponent - 12)
        return step if self.scale == "K" else step.scaled(self.power)


_PREFIX = {"n": -9, "µ": -6, "u": -6, "m": -3, "": 0, "k": 3, "K": 3, "M": 6}
_BASES = {
    "V": "V",
    "v": "V",
    "В": "V",
    "A": "A",
    "а": "A",
    "А": "A",
    "Ω": "ohm",
    "ohm": "ohm",
    "ohms": "ohm",
    "Hz": "Hz",
    "hz": "Hz",
    "W": "W",
    "w": "W",
    "F": "F",
    "H": "H",
    "S": "S",
}
_WORDS = {
    "volt": "V",
    "volts": "V",
    "вольт": "V",
    "ampere": "A",
    "amperes": "A",
    "amps": "A",
    "amp": "A",
    "watt": "W",
    "watts": "W",
    "hertz": "Hz",
    "farad": "F",
    "ボルト": "V",
}
_WORD_PREFIX = {
    "milli": -3,
    "micro": -6,
    "mikro": -6,
    "kilo": 3,
    "mega": 6,
    "nano": -9,
    "мили": -3,
    "милли": -3,
    "ミリ": -3,
    "": 0,
}
_TEMPERATURES = {
    "°c": "",
    "degc": "",
    "deg c": "",
    "celsius": "",
    "c": "",
    "grad c": "",
    "ºc": "",
    "°f": "F",
    "degf": "F",
    "deg f": "F",
    "ºf": "F",
    "fahrenheit": "F",
    "f": "F",
    "k": "K",
    "kelvin": "K",
}
_PLAIN = {"%": "%", "db": "dB", "dbv": "dBV", "dbu": "dBu", "dbm": "dBm"}
_DIVISIONS = {"div", "divs", "division", "divisions"}
_COUPLING = re.compile(r"(?<=[VvA])[ _]?(?:DC|AC|dc|ac|rms|RMS|pp|p-p|pk|=|~|⎓)$")

_COUPLING_BEFORE = re.compile(r"^(?:DC|AC)[ _]?(?=[nµumk]?[VA]$)")


@lru_cache(maxsize=4096)
def read_unit(text: str) -> Unit | None:
    """Return the unit that ``text`` names, or None.

    Examples
    --------
    >>> read_unit("mVDC")
    Unit(symbol='mV', si='V', power=-3, scale='')
    >>> read_unit("°F").si
    'degC'
    """
    symbol = _COUPLING_BEFORE.sub("", _COUPLING.sub("", text.strip()))
    if not symbol or len(symbol) > 20:
        return None
    low = symbol.lower()
    if low in _TEMPERATURES:
        return Unit(symbol, "degC", 0, _TEMPERATURES[low])
    if low in _DIVISIONS:
        return Unit("div", "V", 0, "div")
    if low in _PLAIN:
        return Unit(_PLAIN[low], _PLAIN[low], 0)
    for prefix, power in _WORD_PREFIX.items():
        if low.startswith(prefix) and low[len(prefix) :] in _WORDS:
            return Unit(symbol, _WORDS[low[len(prefix) :]], power)
    if symbol in ("мВ", "мкВ", "мА", "мкА"):
        return Unit(symbol, "V" if symbol[-1] == "В" else "A", -6 if "к" in symbol else -3)
    for prefix in sorted(_PREFIX, key=len, reverse=True):
        base = symbol[len(prefix) :]
        if symbol.startswith(prefix):
            base = base if base in _BASES else base.lower() if base.lower() == "ohm" else base
            base = "ohm" if base.lower() in ("ohm", "ohms") else base
            if base in _BASES:
                return Unit(symbol, _BASES[base], _PREFIX[prefix])
    return None


# Time units of elapsed columns and notes: power of ten times seconds.
_SECONDS = {
    (
        1,
        0,
    ): "s sec secs second seconds sek sekunde sekunden seconde secondes secondi secondo с сек 秒",
    (1, -3): "ms msec millisecond milliseconds",
    (1, -6): "us µs usec microsecond microseconds",
    (1, -9): "ns nsec",
    (
        60,
        0,
    ): "min mins minute minutes minuten minuto minuti minuut m' мин минут минуты 分 分間 分後",
    (3600, 0): "h hr hrs hour hours std stunde stunden heure heures ora ore uur ч час часа 時間",
    (86400, 0): "d day days tag tage",
}
_TIME_UNITS = {word: factor for factor, words in _SECONDS.items() for word in words.split()}


def read_time_unit(text: str) -> Number | None:
    """Return the seconds in the unit of time that ``text`` names, or None.

    Examples
    --------
    >>> read_time_unit("Minuten")
    Number(count=60, exponent=0, scientific=False)
    """
    factor = _TIME_UNITS.get(text.strip().rstrip(".").lower())
    return Number(*factor) if factor else None


def time_unit_words() -> tuple[str, ...]:
    """Return every way to write a unit of time, longest first."""
    return tuple(sorted(_TIME_UNITS, key=len, reverse=True))


def _rounded(dividend: int, divisor: int) -> int:
    return (2 * dividend + divisor) // (2 * divisor)
