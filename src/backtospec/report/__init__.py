"""What is handed over at the end: one document, as a typeset file, as data and as a few lines."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from backtospec.bench.jobs import JobView
from backtospec.errors import BenchError
from backtospec.report.assembly import build_document
from backtospec.report.document import ReportDocument, document_from_json
from backtospec.report.summary import summary_text

__all__ = [
    "ReportDocument",
    "Written",
    "build_document",
    "document_from_json",
    "summary_text",
    "write_document",
    "write_report",
]


@dataclass(frozen=True, slots=True)
class Written:
    """The document, the files it was written to, and what could not be printed as written."""

    document: ReportDocument
    pdf: Path
    json: Path
    summary: Path
    warnings: tuple[str, ...]


def write_report(
    view: JobView, out_dir: Path, made_at: datetime, instruments: Iterable[str] = ()
) -> Written:
    """Write ``report.pdf``, ``report.json`` and ``summary.txt`` into a folder, and return them.

    Parameters
    ----------
    view
        The job, judged.
    out_dir
        Made where it does not exist; earlier reports in it are replaced, each file whole or not
        at all.
    made_at
        Printed on the report. The same job and time give the same bytes.
    instruments
        What was used beside the meters named on readings, in words.

    Raises
    ------
    BenchError
        Where the folder cannot be written.
    """
    document = build_document(view, made_at=made_at, instruments=instruments)
    return write_document(document, out_dir)


def write_document(document: ReportDocument, out_dir: Path) -> Written:
    """Write a document, new or stored, and return the files; see :func:`write_report`."""
    from backtospec.report.pdf import draw_plates, typeset, warnings_of

    pdf = typeset(document, draw_plates(document))
    contents = {
        "report.pdf": pdf,
        "report.json": document.as_json().encode("utf-8", "backslashreplace"),
        "summary.txt": summary_text(document).encode("utf-8", "replace"),
    }
    try:
        out_dir.mkdir(parents=True, exist_ok=True)
        for name, content in contents.items():
            _write_whole(out_dir / name, content)
    except OSError as error:
        reason = error.strerror or str(error)
        raise BenchError(
            f"cannot be written ({reason}).", f"folder {out_dir}", "Choose another folder."
        ) from error
    return Written(
        document,
        out_dir / "report.pdf",
        out_dir / "report.json",
        out_dir / "summary.txt",
        warnings_of(document),
    )


def _write_whole(path: Path, content: bytes) -> None:
    """Write beside the file first: a cut-off report must never look like one."""
    beside = path.with_name(f".{path.name}.new")
    beside.write_bytes(content)
    beside.replace(path)
