"""The page as a whole: pages found in one folder, guarded, with no link to any other host."""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import AsyncIterator, Callable
from contextlib import AbstractContextManager, asynccontextmanager

from fastapi import FastAPI, Request
from starlette.middleware import Middleware
from starlette.responses import Response
from starlette.staticfiles import StaticFiles
from starlette.types import Scope

from backtospec.bench.jobs import Bench
from backtospec.errors import BenchError
from backtospec.web import pages
from backtospec.web.desk import Desk
from backtospec.web.guard import Guard
from backtospec.web.live import Live
from backtospec.web.rendering import STATIC, page
from backtospec.web.sessions import Doorkeeper, Sessions, secret_of
from backtospec.web.settings import Settings
from backtospec.web.works import Works

OpenBench = Callable[[], AbstractContextManager[Bench]]


def create_app(open_bench: OpenBench, settings: Settings | None = None) -> FastAPI:
    """Return the page of one data folder.

    Parameters
    ----------
    open_bench
        Opens the data folder; it stays open while the page is served.
    settings
        To whom it is served; by default to this machine alone.

    Raises
    ------
    BenchError
        Where others could reach it without a passphrase.
    """
    chosen = settings or Settings()
    if chosen.exposed and not chosen.passphrase_hash:
        raise BenchError(
            f"{chosen.host} can be reached by others.", "page", "Set a passphrase first."
        )
    opened = open_bench()
    bench = opened.__enter__()
    sessions = Sessions(secret_of(bench.folder), chosen.session_hours, chosen.passphrase_hash)
    desk = Desk(bench, chosen, sessions, Doorkeeper(chosen.passphrase_hash), Live(bench), Works())

    @asynccontextmanager
    async def running(_: FastAPI) -> AsyncIterator[None]:
        yield
        await desk.live.close()
        desk.works.close()
        opened.__exit__(None, None, None)

    app = FastAPI(
        openapi_url=None,
        docs_url=None,
        redoc_url=None,
        telemetry={"tracing": False, "metrics": False, "logs": False, "auto_configure": False},
        lifespan=running,
        middleware=[Middleware(Guard, settings=chosen, sessions=sessions)],
    )
    app.state.desk = desk
    app.mount("/static", _Static(directory=STATIC))
    for info in pkgutil.iter_modules(pages.__path__):
        app.include_router(importlib.import_module(f"{pages.__name__}.{info.name}").router)
    app.add_exception_handler(BenchError, _refuse)
    app.add_exception_handler(404, _missing)
    return app


class _Static(StaticFiles):
    """Files whose address changes with their content may be kept for ever."""

    async def get_response(self, path: str, scope: Scope) -> Response:
        """Return one file."""
        response = await super().get_response(path, scope)
        kept = b"v=" in scope.get("query_string", b"")
        response.headers["cache-control"] = (
            "public, max-age=31536000, immutable" if kept else "no-cache"
        )
        return response


def _refuse(request: Request, error: Exception) -> Response:
    assert isinstance(error, BenchError)
    unknown = "There is no" in error.faults[0].what
    return page(request, "refused", 404 if unknown else 422, faults=error.faults)


def _missing(request: Request, _: Exception) -> Response:
    fault = BenchError(f"There is nothing at {request.url.path}.", "address", "Go to the shelf.")
    return page(request, "refused", 404, faults=fault.faults)
