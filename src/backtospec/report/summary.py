"""A few plain lines to paste."""

from __future__ import annotations

from backtospec.report.document import Cell, ReportDocument, Row

WIDEST = 72
"""Characters in a line."""


def summary_text(document: ReportDocument) -> str:
    """Return the report in a few plain lines, at most 72 characters wide where words allow it.

    Parameters
    ----------
    document
        The report.
    """
    head = document.headline
    facts = " · ".join((f"{document.maker} {document.model}", *document.facts))
    lines = [_one_line(facts), "", *_wrapped(f"{head.mark} {head.line}")]
    if document.claims:
        lines += ["", "Rating against measurement (uncertainty k = 2):"]
    for row in document.claims:
        lines += _wrapped(f"- {row.title}: {_promise(row)}: {_shown(row)}", "  ")
    if document.parts:
        names = ", ".join(part.designator for part in document.parts)
        lines += ["", *_wrapped(f"Parts replaced: {names}")]
    if document.omissions:
        lines += ["", "Not shown:"]
        for omission in document.omissions:
            lines += _wrapped(f"- {omission.what}: {omission.why}", "  ")
    count = sum(len(group.readings) for group in document.evidence)
    rests = f"Report {document.id}, {document.made}; {count} readings, sha256"
    return "\n".join([*lines, "", *_wrapped(f"{rests} {document.evidence_sha256[:16]}"), ""])


def _promise(row: Row) -> str:
    return f"{row.limit} ({row.conditions})" if row.conditions else row.limit


def _shown(row: Row) -> str:
    cells: list[tuple[str, Cell | None]] = [
        ("left ", row.left),
        ("right ", row.right),
        ("", row.both),
    ]
    found = [f"{name}{c.text} {c.mark} {c.word}" for name, c in cells if c is not None]
    return "; ".join(found) or f"– {row.missing}"


def _one_line(text: str) -> str:
    return " ".join(text.split())


def _wrapped(text: str, indent: str = "") -> list[str]:
    import textwrap

    return textwrap.wrap(
        _one_line(text),
        WIDEST,
        subsequent_indent=indent,
        break_long_words=False,
        break_on_hyphens=False,
    )
