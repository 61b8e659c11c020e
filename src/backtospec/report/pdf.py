"""The document as a typeset PDF/A-2b file: same document and time, same bytes."""

from __future__ import annotations

import atexit
import json
import shutil
import tempfile
from collections import Counter
from collections.abc import Callable, Mapping
from datetime import datetime
from functools import cache
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from backtospec.check import BarsFigure, TableFigure
from backtospec.report import plots
from backtospec.report.document import Plate, ReportDocument
from backtospec.report.glyphs import FACES, ascii_only, font_folder, mapped, spelled_out, visible

if TYPE_CHECKING:
    import typst

STANDARD: Literal["a-2b"] = "a-2b"


def draw_plates(document: ReportDocument) -> dict[str, bytes]:
    """Return every figure of a report as SVG, by the id of its plate."""
    narrow = _narrow(document)
    return {p.id: plots.draw(p.figure, p.id in narrow) for p in document.plates}


def _narrow(document: ReportDocument) -> set[str]:
    """Return the ids of plates that stand two in a row: bars, and a figure before and after."""
    places = Counter((p.check, p.figure.key) for p in document.plates)
    return {
        p.id
        for p in document.plates
        if not isinstance(p.figure, TableFigure)
        and (isinstance(p.figure, BarsFigure) or places[p.check, p.figure.key] == 2)
    }


def typeset(document: ReportDocument, plates: Mapping[str, bytes]) -> bytes:
    """Return the report as PDF/A-2b.

    Parameters
    ----------
    document
        The report. All of it reaches the page as data, so no text in it can act as markup.
    plates
        SVG by plate id; a plate without one is left out.

    Notes
    -----
    Any text can be printed: what no font covers is spelled ``[U+…]``, and :func:`warnings_of`
    names it. Should the typesetter refuse a text all the same, everything beyond ASCII is spelled.
    """
    import typst

    try:
        return _compiled(document, plates, visible)
    except typst.TypstError:
        return _compiled(document, plates, lambda text: visible(ascii_only(text)))


def warnings_of(document: ReportDocument) -> tuple[str, ...]:
    """Return what could not be printed as it was written."""
    odd = spelled_out(json.dumps(document.as_data(), ensure_ascii=False))
    if not odd:
        return ()
    names = ", ".join(f"U+{ord(character):04X}" for character in odd[:8])
    more = f" and {len(odd) - 8} more" if len(odd) > 8 else ""
    return (f"No font at hand covers {names}{more}; spelled out as [U+…] in the printed report.",)


def _compiled(
    document: ReportDocument, plates: Mapping[str, bytes], change: Callable[[str], str]
) -> bytes:
    import typst

    data = mapped(document.as_data(), change)
    narrow = _narrow(document)
    data["plates"] = [
        _plate(plate, shown, plates.get(plate.id), plate.id in narrow)
        for plate, shown in zip(document.plates, data["plates"], strict=True)
    ]
    data["evidence_prefix"] = document.evidence_sha256[:16]
    data["warnings"] = [change(text) for text in warnings_of(document)]
    made_at = datetime.fromisoformat(document.made_at)
    pdf = typst.compile(
        resources.files(__package__).joinpath("page.typ").read_bytes(),
        format="pdf",
        font_paths=_fonts(),
        sys_inputs={"document": json.dumps(data, ensure_ascii=False)},
        pdf_standards=[STANDARD],
        timestamp=int(made_at.timestamp()),
    )
    assert isinstance(pdf, bytes)
    return pdf


def _plate(plate: Plate, shown: dict[str, Any], svg: bytes | None, narrow: bool) -> dict[str, Any]:
    figure = shown.pop("figure")
    table = isinstance(plate.figure, TableFigure)
    return {
        **shown,
        "title": figure["title"],
        "key": plate.figure.key,
        "columns": figure["columns"] if table else [],
        "rows": figure["rows"] if table else [],
        "narrow": narrow,
        "bars": isinstance(plate.figure, BarsFigure),
        "kind": figure["kind"],
        "svg": "" if table or svg is None else svg.decode(),
    }


@cache
def _fonts() -> typst.Fonts:
    """Return the typesetter's own faces and a private folder with the fallback, nothing else.

    Fonts installed on the machine would make the same report look different elsewhere.
    """
    import typst

    folder = Path(tempfile.mkdtemp(prefix="backtospec-fonts-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    for name in FACES:
        shutil.copy(font_folder() / name, folder / name)
    return typst.Fonts(include_system_fonts=False, font_paths=[str(folder)])
