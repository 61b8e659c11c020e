"""Pages from templates, with what every page carries."""

from __future__ import annotations

import hashlib
from functools import cache
from pathlib import Path
from typing import Any

import jinja2
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse

from backtospec.report.wording import limit_text, result_text, source_text, when
from backtospec.web.desk import desk_of
from backtospec.web.words import VERDICTS, advice_words, channel_word, clock

_FAULTY = 422
STATIC = Path(__file__).parent / "static"


@cache
def _environment() -> jinja2.Environment:
    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("backtospec.web"),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=jinja2.StrictUndefined,
    )
    environment.filters |= {
        "advice": advice_words,
        "channel": channel_word,
        "clock": clock,
        "limit": limit_text,
        "result": result_text,
        "source": source_text,
        "when": when,
    }
    environment.globals |= {"asset": asset, "verdicts": VERDICTS}
    return environment


@cache
def asset(name: str) -> str:
    """Return the address of a static file; it changes with the content."""
    digest = hashlib.sha256((STATIC / name).read_bytes()).hexdigest()[:12]
    return f"/static/{name}?v={digest}"


def page(request: Request, name: str, status: int = 200, **context: Any) -> HTMLResponse:
    """Return a page made from ``templates/<name>.html``."""
    desk = desk_of(request)
    whole = {
        "frame": None,
        "form_token": request.state.form_token,
        "path": request.url.path,
        "exposed": desk.settings.exposed,
        "signed_in": bool(desk.settings.passphrase_hash) and request.state.session.signed_in,
        **context,
    }
    text = _environment().get_template(f"{name}.html").render(whole)
    if status == _FAULTY and "hx-request" in request.headers:
        # to a script a form with faults is an answer like any other, not a failure of the line
        return HTMLResponse(text, headers={"x-not-kept": "yes"})
    return HTMLResponse(text, status)


def go(address: str) -> RedirectResponse:
    """Return the answer that sends a browser on after something was kept."""
    return RedirectResponse(address, 303, headers={"x-kept": "yes"})
