"""What every page works with: the bench, the settings, what is live and what takes long."""

from __future__ import annotations

from dataclasses import dataclass

from starlette.requests import Request

from backtospec.bench.jobs import Bench
from backtospec.web.live import Live
from backtospec.web.sessions import Doorkeeper, Sessions
from backtospec.web.settings import Settings
from backtospec.web.works import Works


@dataclass(frozen=True, slots=True)
class Desk:
    """One running page."""

    bench: Bench
    settings: Settings
    sessions: Sessions
    doorkeeper: Doorkeeper
    live: Live
    works: Works


def desk_of(request: Request) -> Desk:
    """Return the desk that a request came to."""
    found = request.app.state.desk
    assert isinstance(found, Desk)
    return found


def bench_of(request: Request) -> Bench:
    """Return the bench that a request came to."""
    return desk_of(request).bench
