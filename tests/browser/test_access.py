"""Every page, in both themes, with nothing against it from axe; and no page too heavy."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page

from backtospec import catalogue
from backtospec.bench.jobs import Bench
from backtospec.bench.runs import Given
from backtospec.records import Channel, PowerState, Visit
from tests.browser.conftest import Axe

MOST_BYTES = 250_000


def pages_of(bench: Bench, job: str) -> list[str]:
    """Return the address of every kind of page, with something on each."""
    bench.set_power(job, PowerState.MAINS)
    check = catalogue.check_of("idle-current")
    log = "; ".join(f"{m} min {10.8 - 4 * 2.718 ** (-m / 7):.1f} mV" for m in range(0, 80, 2))
    texts = {"point": "resistor-pair", "left_series": log, "right": "9", "minutes_since_on": "80"}
    given = Given(texts, power_state=PowerState.MAINS, spec=bench.spec_of_job(job))
    kept = bench.record(job, check, given, Visit.BEFORE)
    bench.quick_reading("9.6", "mV", Channel.RIGHT, None, "somewhere")
    own = f"/jobs/{job}"
    return [
        "/",
        "/quick",
        "/amplifiers/new",
        f"/amplifiers/{bench.view(job).amplifier.id}",
        own,
        f"{own}/power",
        f"{own}/power?to=safe",
        f"{own}/readings/{kept.readings[0].id}",
        f"{own}/watches/{kept.sitting.id}",
        f"{own}/checks/idle-current/watch",
        "/nowhere",
        *(f"{own}/checks/{check.id}" for check in catalogue.all_checks()),
    ]


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_axe_finds_nothing(
    page: Page, bench: Bench, job: str, axe: Axe, theme: str, watched: object
) -> None:
    page.emulate_media(color_scheme="dark" if theme == "dark" else "light")
    found = {}
    for address in pages_of(bench, job):
        page.goto(address)
        page.evaluate("document.querySelectorAll('details').forEach(d => { d.open = true; })")
        if against := axe(page):
            found[address] = against
    watched.errors.clear()  # type: ignore[attr-defined]  # the missing page is told on the console
    assert not found


def test_no_page_is_heavy(page: Page, bench: Bench, job: str) -> None:
    for address in (f"/jobs/{job}", f"/jobs/{job}/checks/idle-current"):
        pages_of(bench, job)
        page.goto(address)
        weights = page.evaluate(
            "performance.getEntriesByType('navigation').concat("
            "performance.getEntriesByType('resource')).map(e => e.decodedBodySize)"
        )
        assert sum(weights) < MOST_BYTES
