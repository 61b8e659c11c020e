"""Debian's Chromium on a page that is served as people serve it; nothing leaves this machine."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import axe_playwright_python
import pytest
from playwright.sync_api import BrowserContext, Page, Request, Route

from backtospec.bench.jobs import Bench, open_bench
from tests.cli.conftest import SHEET

CHROMIUM = os.environ.get("CHROMIUM") or shutil.which("chromium")
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
AXE = Path(axe_playwright_python.__file__).with_name("axe.min.js")
WIDTHS = (360, 1280)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Skip with the install line where there is no Chromium; in CI that is a failure."""
    if CHROMIUM is None and not os.environ.get("CI"):
        reason = "no chromium: apt-get install chromium"
        for item in items:
            if "tests/browser" in item.nodeid:
                item.add_marker(pytest.mark.skip(reason=reason))


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args: dict[str, Any]) -> dict[str, Any]:
    """Return how Chromium is started: the system's own, no download."""
    return {**browser_type_launch_args, "executable_path": CHROMIUM, "args": FLAGS}


def free_port() -> int:
    """Return a port that was free a moment ago."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@dataclass
class Server:
    """One ``backtospec serve`` in a process of its own, on a data folder."""

    folder: Path
    port: int = field(default_factory=free_port)
    process: subprocess.Popen[bytes] | None = None

    @property
    def address(self) -> str:
        """Where it is."""
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        """Start it and wait until it answers."""
        words = ["--data-dir", str(self.folder), "serve", "--no-open", "--port", str(self.port)]
        self.process = subprocess.Popen(
            [sys.executable, "-m", "backtospec", *words], stdout=subprocess.DEVNULL
        )
        until = time.monotonic() + 60
        while time.monotonic() < until and self.process.poll() is None:
            try:
                urllib.request.urlopen(self.address, timeout=5).close()
            except OSError:
                select_nothing()
            else:
                return
        raise RuntimeError("the page did not start")

    def kill(self) -> None:
        """End it as a power cut would."""
        assert self.process is not None
        self.process.kill()
        self.process.wait(10)

    def stop(self) -> None:
        """End it in good order."""
        if self.process is not None and self.process.poll() is None:
            self.process.terminate()
            self.process.wait(10)


def select_nothing() -> None:
    """Let the other process run for a moment."""
    import select

    select.select([], [], [], 0.05)


@pytest.fixture(scope="session")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """Return a served page that the tests of one run share; each works on jobs of its own."""
    running = Server(tmp_path_factory.mktemp("data"))
    running.start()
    yield running
    running.stop()


@pytest.fixture(scope="session")
def base_url(server: Server) -> str:
    """Return the address that ``page.goto("/")`` starts from."""
    return server.address


@pytest.fixture
def bench(server: Server) -> Iterator[Bench]:
    """Return the same data folder, opened by another program at the same time."""
    with open_bench(server.folder) as opened:
        yield opened


@pytest.fixture
def job(bench: Bench) -> str:
    """Return a job on an amplifier with a spec sheet."""
    amplifier = bench.add_amplifier(SHEET, "sheet.toml", "7")
    return bench.open_job(amplifier.id, "hum").id


@dataclass
class Watched:
    """What went wrong in a page without being asked about."""

    foreign: list[str] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)


@pytest.fixture(autouse=True)
def watched(context: BrowserContext, base_url: str) -> Iterator[Watched]:
    """Refuse every request to another host, and every error on the console."""
    seen = Watched()
    context.set_default_timeout(15_000)

    def refuse(route: Route, request: Request) -> None:
        seen.foreign.append(request.url)
        route.abort()

    own = (base_url, "data:", "blob:", "about:")
    context.route(lambda address: not address.startswith(own), refuse)
    context.on("weberror", lambda error: seen.errors.append(str(error.error)))
    context.on(
        "console", lambda said: seen.errors.append(said.text) if said.type == "error" else None
    )
    yield seen
    assert not seen.foreign
    assert not seen.errors


Axe = Callable[..., list[str]]


@pytest.fixture
def axe() -> Axe:
    """Return a function that lists what axe has against a page, by all rules or by one."""
    source = AXE.read_text(encoding="utf-8")
    tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]

    def against(page: Page, rule: str = "") -> list[str]:
        page.evaluate(source)
        only = {"type": "rule", "values": [rule]} if rule else {"type": "tag", "values": tags}
        found = page.evaluate("only => axe.run(document, {runOnly: only})", only)
        return [
            f"{v['id']}: {[(n['target'], n['failureSummary']) for n in v['nodes'][:3]]}"
            for v in found["violations"]
        ]

    return against
