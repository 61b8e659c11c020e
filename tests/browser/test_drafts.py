"""Nothing typed is lost: by a reload, a killed server, or an answer that never arrived."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Page, Route, expect

from backtospec.bench.jobs import Bench, open_bench
from backtospec.records import PowerState
from tests.browser.conftest import Server, Watched
from tests.cli.conftest import SHEET


@pytest.fixture
def own_server(tmp_path: Path) -> Iterator[Server]:
    """Return a page that may be killed."""
    running = Server(tmp_path / "data")
    running.start()
    yield running
    running.stop()


def test_a_killed_server_loses_nothing(page: Page, own_server: Server, watched: Watched) -> None:
    with open_bench(own_server.folder) as bench:
        job = bench.open_job(bench.add_amplifier(SHEET, "s", "1").id, "hum").id
        bench.set_power(job, PowerState.MAINS)
    page.context.unroute_all()
    address = f"{own_server.address}/jobs/{job}/checks/dc-offset"
    page.goto(address)
    page.locator("[name=left]").fill("8.5 mV")
    page.locator("[name=note]").fill("relay closed")
    own_server.kill()
    page.get_by_role("button", name="Keep, before the work").click()
    expect(page.locator("#link")).to_contain_text("what you typed is still here")
    own_server.start()
    page.goto(address)
    expect(page.locator("[name=left]")).to_have_value("8.5 mV")
    expect(page.locator("[name=note]")).to_have_value("relay closed")
    page.get_by_role("button", name="Keep, before the work").click()
    expect(page.locator("#result")).to_be_visible()
    page.goto(address)
    expect(page.locator("[name=left]")).to_have_value("")
    with open_bench(own_server.folder) as bench:
        assert len(bench.view(job).sittings) == 1
    watched.errors.clear()  # the lost connection is told on the console too


def test_a_retried_form_is_kept_once(page: Page, bench: Bench, job: str, watched: Watched) -> None:
    bench.set_power(job, PowerState.MAINS)

    def lose_the_answer(route: Route) -> None:
        if route.request.method != "POST":
            route.continue_()
            return
        route.fetch(max_redirects=0)
        route.abort()

    page.goto(f"/jobs/{job}/checks/dc-offset")
    page.locator("[name=left]").fill("8.5 mV")
    page.route("**/checks/dc-offset**", lose_the_answer)
    page.get_by_role("button", name="Keep, before the work").click()
    expect(page.locator("#link")).to_contain_text("what you typed is still here")
    page.unroute("**/checks/dc-offset**")
    page.get_by_role("button", name="Keep, before the work").click()
    expect(page.locator("#result")).to_contain_text("8.5 mV")
    assert len(bench.view(job).sittings) == 1
    watched.errors.clear()
