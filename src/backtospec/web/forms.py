"""Reading a form that was sent."""

from __future__ import annotations

import secrets
from urllib.parse import parse_qsl

from starlette.requests import Request

from backtospec.web.fields import Sent


async def sent_by(request: Request) -> Sent:
    """Return the form of a request; the guard has limited its size and checked its token."""
    pairs = parse_qsl((await request.body()).decode("utf-8", "replace"), keep_blank_values=True)
    return Sent({name: value.replace("\r\n", "\n") for name, value in pairs})


def new_token() -> str:
    """Return what names one sending of one form."""
    return secrets.token_urlsafe(12)
