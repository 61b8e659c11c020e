"""Every page, in both themes, with nothing against it from axe; and no page too heavy."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from backtospec import catalogue
from backtospec.bench.jobs import Bench
from backtospec.bench.runs import Given
from backtospec.records import Channel, PowerState, Visit
from tests.browser.conftest import Axe

MOST_BYTES = 250_000
MOST_USED = 5


def pages_of(bench: Bench, job: str) -> list[str]:
    """Return the address of every kind of page but the checks, with something on each.

    The first few are those that people are on most of the time.
    """
    bench.set_power(job, PowerState.MAINS)
    check = catalogue.check_of("idle-current")
    log = "; ".join(f"{m} min {10.8 - 4 * 2.718 ** (-m / 7):.1f} mV" for m in range(0, 80, 2))
    texts = {"point": "resistor-pair", "left_series": log, "right": "9", "minutes_since_on": "80"}
    given = Given(texts, power_state=PowerState.MAINS, spec=bench.spec_of_job(job))
    kept = bench.record(job, check, given, Visit.BEFORE)
    bench.quick_reading("9.6", "mV", Channel.RIGHT, None, "somewhere")
    own = f"/jobs/{job}"
    return [
        f"{own}/checks/idle-current",
        own,
        "/",
        f"{own}/power?to=safe",
        f"{own}/watches/{kept.sitting.id}",
        "/quick",
        "/amplifiers/new",
        f"/amplifiers/{bench.view(job).amplifier.id}",
        f"{own}/power",
        f"{own}/readings/{kept.readings[0].id}",
        f"{own}/checks/idle-current/watch",
    ]


def _against(page: Page, axe: Axe, addresses: list[str]) -> dict[str, list[str]]:
    """Return what axe has against each page; between the themes only the contrast differs."""
    found = {}
    for address in addresses:
        page.emulate_media(color_scheme="light")
        page.goto(address)
        page.evaluate("document.querySelectorAll('details').forEach(d => { d.open = true; })")
        against = axe(page)
        page.emulate_media(color_scheme="dark")
        expect(page.locator("html")).to_have_attribute("data-theme", "workshop")
        if against := against + axe(page, "color-contrast"):
            found[address] = against
    return found


def test_axe_finds_nothing(page: Page, bench: Bench, job: str, axe: Axe) -> None:
    assert not _against(page, axe, pages_of(bench, job)[:MOST_USED])


@pytest.mark.campaign
def test_axe_finds_nothing_anywhere(page: Page, bench: Bench, job: str, axe: Axe) -> None:
    addresses = pages_of(bench, job)
    addresses += [f"/jobs/{job}/checks/{check.id}" for check in catalogue.all_checks()]
    assert not _against(page, axe, addresses)


def test_no_page_is_heavy(page: Page, bench: Bench, job: str) -> None:
    pages_of(bench, job)
    for address in (f"/jobs/{job}", f"/jobs/{job}/checks/idle-current"):
        page.goto(address)
        weights = page.evaluate(
            "performance.getEntriesByType('navigation').concat("
            "performance.getEntriesByType('resource')).map(e => e.decodedBodySize)"
        )
        assert sum(weights) < MOST_BYTES
