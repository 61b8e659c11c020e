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


def pages_of(bench: Bench, job: str) -> list[str]:
    """Return the address of every kind of page, with something on each.

    Of the checks, as many as it takes to show every kind of input.
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
        *(f"{own}/checks/{check_id}" for check_id in ("idle-current", *_of_every_kind())),
    ]


def _of_every_kind() -> list[str]:
    chosen: list[str] = []
    seen: set[str] = set()
    by_kinds = {c.id: {item.kind for item in c.inputs} for c in catalogue.all_checks()}
    for check_id, kinds in sorted(by_kinds.items(), key=lambda one: -len(one[1])):
        if kinds - seen:
            chosen.append(check_id)
            seen |= kinds
    return chosen


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
    assert not _against(page, axe, pages_of(bench, job))


@pytest.mark.campaign
def test_axe_finds_nothing_in_any_check(page: Page, job: str, axe: Axe) -> None:
    addresses = [f"/jobs/{job}/checks/{check.id}" for check in catalogue.all_checks()]
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
