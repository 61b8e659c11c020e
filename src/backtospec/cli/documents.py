"""What commands print as JSON: plain values under names that stay."""

from __future__ import annotations

from typing import Any, assert_never

from backtospec.check import (
    CaptureInput,
    Cause,
    Check,
    ChoiceInput,
    Conclusion,
    Input,
    NumberInput,
    PhotoInput,
    SeriesInput,
    TableInput,
    TextInput,
)
from backtospec.records import Condition, Limit, Reading
from backtospec.verdict import Bound, Finding, Result


def of_input(item: Input) -> dict[str, Any]:
    """Return the declaration of one input."""
    document: dict[str, Any] = {
        "key": item.key,
        "kind": item.kind,
        "prompt": item.prompt,
        "required": item.required,
        "unit": None,
        "low": None,
        "high": None,
        "choices": [],
    }
    match item:
        case NumberInput() | SeriesInput():
            document |= {
                "unit": item.unit,
                "low": item.low,
                "high": item.high,
                "channel": item.channel,
                "probed_at": item.probed_at,
            }
        case ChoiceInput():
            document["choices"] = [{"value": c.value, "text": c.text} for c in item.choices]
        case TableInput():
            document["columns"] = [of_input(column) for column in item.columns]
        case CaptureInput():
            document["analysis"] = item.analysis
        case TextInput() | PhotoInput():
            pass
        case _:
            assert_never(item)
    if isinstance(item, NumberInput | ChoiceInput):
        document["default"] = item.default
    return document


def of_check(check: Check) -> dict[str, Any]:
    """Return the declaration of one check."""
    return {
        "id": check.id,
        "title": check.title,
        "stage": check.stage.title,
        "power_states": list(check.power_states),
        "why": check.why,
        "cautions": list(check.cautions),
        "steps": list(check.steps),
        "inputs": [of_input(item) for item in check.inputs],
        "results": [{"key": r.key, "title": r.title, "unit": r.unit} for r in check.results],
        "sources": list(check.sources),
    }


def of_result(result: Result) -> dict[str, Any]:
    """Return one result; a bound stands under its own name, never as the value."""
    number = result.value
    name = {Bound.EQUALS: "value", Bound.AT_MOST: "at_most", Bound.AT_LEAST: "at_least"}
    document: dict[str, Any] = {
        "key": result.key,
        "title": result.title,
        "value": None,
        "unit": result.unit,
        "u": None if number is None else number.u,
        "method": result.method,
        "conditions": dict(result.conditions),
        "inputs": list(result.inputs),
    }
    document[name[result.bound]] = None if number is None else number.value
    if result.channel is not None:
        document["channel"] = result.channel
    if result.reason:
        document["reason"] = result.reason
    return document


def of_condition(condition: Condition) -> dict[str, Any]:
    """Return one condition of a limit, without what it leaves open."""
    fields = {
        "name": condition.name,
        "wanted": condition.wanted,
        "tolerance_percent": condition.tolerance_percent or None,
        "low": condition.low,
        "high": condition.high,
    }
    return {key: value for key, value in fields.items() if value is not None}


def of_limit(limit: Limit) -> dict[str, Any]:
    """Return one limit with its conditions and source."""
    return {
        "low": limit.low,
        "high": limit.high,
        "unit": limit.unit,
        "source": limit.source,
        "convention": limit.convention,
        "conditions": [of_condition(c) for c in limit.conditions],
    }


def of_finding(finding: Finding) -> dict[str, Any]:
    """Return one judged result."""
    return {
        "key": finding.result.key,
        "verdict": finding.verdict,
        "probability": finding.probability,
        "reason": finding.reason,
        "limit": None if finding.limit is None else of_limit(finding.limit),
    }


def of_cause(cause: Cause) -> dict[str, Any]:
    """Return a possible cause with what speaks for it and against it."""
    return {
        "name": cause.name,
        "for": list(cause.evidence_for),
        "against": list(cause.evidence_against),
        "next_reading": cause.next_reading,
        "weight": cause.weight,
    }


def of_conclusion(conclusion: Conclusion) -> dict[str, Any]:
    """Return all that follows from one run of a check."""
    results = {id(f.result): f.result for f in conclusion.findings}
    return {
        "check": conclusion.check.id,
        "results": [of_result(result) for result in results.values()],
        "findings": [of_finding(f) for f in conclusion.findings],
        "advice": [{"kind": a.kind, "reason": a.reason} for a in conclusion.counsel.advice],
        "causes": [of_cause(cause) for cause in conclusion.counsel.causes],
        "next": conclusion.counsel.next_step,
    }


def of_reading(reading: Reading) -> dict[str, Any]:
    """Return one reading as taken."""
    return {
        "id": reading.id,
        "key": reading.key,
        "text": reading.text,
        "value": reading.value,
        "unit": reading.unit,
        "channel": reading.channel,
        "taken_at": reading.taken_at.isoformat(),
        "supersedes": reading.supersedes,
        "file_sha256": reading.file_sha256,
    }
