"""What follows from one sitting, as the page shows it: one word, one sentence, then evidence."""

from __future__ import annotations

from dataclasses import dataclass

from backtospec.bench.jobs import JudgedSitting
from backtospec.check import AdviceKind, Conclusion
from backtospec.errors import BenchError, Fault
from backtospec.records import Meter
from backtospec.report.wording import accuracy_text, amount, conditions_text, taken_text
from backtospec.verdict import Finding
from backtospec.web.drawing import Drawing, drawings


@dataclass(frozen=True, slots=True)
class Line:
    """One judged result with what stands behind it."""

    finding: Finding
    evidence: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Shown:
    """One sitting.

    Parameters
    ----------
    conclusion
        What follows; ``None`` where it cannot be judged, ``faults`` then says why.
    """

    judged: JudgedSitting
    conclusion: Conclusion | None
    lines: tuple[Line, ...]
    drawings: tuple[Drawing, ...]
    meters: tuple[str, ...]
    faults: tuple[Fault, ...]

    @property
    def stops(self) -> bool:
        """Whether a STOP is among the advice."""
        advice = self.conclusion.counsel.advice if self.conclusion else ()
        return any(a.kind is AdviceKind.STOP for a in advice)


def shown_of(judged: JudgedSitting, error: BenchError | None = None) -> Shown:
    """Return a sitting as the page shows it."""
    conclusion = judged.conclusion
    meters = dict.fromkeys(r.meter for r in judged.readings if r.meter is not None)
    return Shown(
        judged,
        conclusion,
        tuple(Line(f, _evidence(f)) for f in conclusion.findings) if conclusion else (),
        drawings(conclusion.figures) if conclusion else (),
        tuple(_meter(meter) for meter in meters),
        error.faults if error else (),
    )


def _meter(meter: Meter) -> str:
    return f"{meter.name} {accuracy_text(meter)}"


def _evidence(finding: Finding) -> tuple[str, ...]:
    result, limit = finding.result, finding.limit
    lines = [f"How: {result.method}."]
    taken = ", ".join(taken_text(name, value) for name, value in result.conditions.items())
    if taken:
        lines.append(f"Taken: {taken}.")
    if limit is not None:
        wanted = conditions_text(limit.conditions)
        lines.append(f"Limit holds: {wanted}." if wanted else "Limit holds always.")
    if finding.probability is not None:
        lines.append(f"Inside the limit with a probability of {_percent(finding.probability)}.")
    lines += [f"{text.rstrip('.')}." for text in (finding.reason, result.reason) if text]
    return tuple(dict.fromkeys(lines))


def _percent(probability: float) -> str:
    if probability > 0.999:
        return "more than 99.9 %"
    return "less than 0.1 %" if probability < 0.001 else f"{100 * probability:.1f} %"


def reading_text(text: str, value: float | None, unit: str) -> str:
    """Return a reading as understood; as typed where it is no number."""
    return text if value is None else amount(value, unit)
