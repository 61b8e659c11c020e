"""Signing in, where others on the network can reach the page."""

from __future__ import annotations

import asyncio

from fastapi import APIRouter, Request, Response

from backtospec.errors import BenchError
from backtospec.web.desk import desk_of
from backtospec.web.forms import sent_by
from backtospec.web.guard import cookie_line
from backtospec.web.rendering import go, page

router = APIRouter()


@router.get("/enter")
def ask(request: Request, to: str = "/") -> Response:
    """Ask for the passphrase."""
    return page(request, "enter", to=to, faults=())


@router.post("/enter")
async def enter(request: Request) -> Response:
    """Begin a new session where the passphrase is right."""
    desk, sent = desk_of(request), await sent_by(request)
    to = sent.text("to")
    if not to.startswith("/") or to.startswith(("//", "/\\")):
        to = "/"
    if not desk.settings.passphrase_hash:
        return go(to)
    try:
        await asyncio.to_thread(desk.doorkeeper.admit, sent.text("passphrase"))
    except BenchError as error:
        return page(request, "enter", 422, to=to, faults=error.faults)
    answer = go(to)
    session = desk.sessions.begin(signed_in=True)
    answer.headers.append("set-cookie", cookie_line(desk.sessions, session, desk.settings))
    return answer


@router.post("/leave")
def leave(request: Request) -> Response:
    """End this browser's session."""
    desk = desk_of(request)
    answer = go("/enter")
    session = desk.sessions.begin(signed_in=False)
    answer.headers.append("set-cookie", cookie_line(desk.sessions, session, desk.settings))
    return answer
