"""Every check is drawn from its declaration alone, and read by keyboard alone."""

from __future__ import annotations

from playwright.sync_api import Page, expect

from backtospec import catalogue
from backtospec.bench.jobs import Bench
from backtospec.bench.runs import Given
from backtospec.records import PowerState, Visit
from tests.browser.conftest import WIDTHS


def test_every_check_opens_with_every_input(page: Page, job: str) -> None:
    for check in catalogue.all_checks():
        page.goto(f"/jobs/{job}/checks/{check.id}")
        expect(page.get_by_role("heading", name=check.title, exact=True)).to_be_visible()
        for caution in check.cautions:
            expect(page.locator(".caution").get_by_text(caution)).to_be_visible()
        for item in check.inputs:
            named = f'[name="{item.key}"], [name="file:{item.key}"], [name^="cell:{item.key}:"]'
            assert page.locator(named).count(), (check.id, item.key)
        for width in WIDTHS:
            page.set_viewport_size({"width": width, "height": 800})
            wide = page.evaluate("document.documentElement.scrollWidth")
            assert wide <= width, f"{check.id} is {wide} wide"


def test_idle_current_by_keyboard_alone(page: Page, bench: Bench, job: str) -> None:
    bench.set_power(job, PowerState.MAINS)
    page.goto(f"/jobs/{job}/checks/idle-current")
    _tab_to(page, "point")
    page.keyboard.press("ArrowDown")  # from the first choice to the second
    _tab_to(page, "left")
    page.keyboard.type("10,2")
    expect(page.locator("#e-left")).to_contain_text("10.2")  # echoed in full before it counts
    page.keyboard.press("Tab")
    page.keyboard.type("0.0108 V")
    expect(page.locator("#e-right")).to_contain_text("10.8")
    _tab_to(page, "minutes_since_on")
    page.keyboard.press("Control+a")
    page.keyboard.type("75")
    page.keyboard.press("Enter")
    result = page.locator("#result")
    expect(result).to_contain_text("Leave it alone")
    expect(result).to_be_focused()
    expect(page.locator(".dial .here .mark")).to_have_text("✓")
    kept = bench.standing(job).newest[-1]
    assert {r.key: r.text for r in kept.readings}["left"] == "10,2"
    assert kept.sitting.power_state is PowerState.MAINS


def _tab_to(page: Page, name: str) -> None:
    for _ in range(150):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.name") == name:
            return
    raise AssertionError(f"{name} cannot be reached by Tab")


def test_all_faults_at_once_beside_their_fields(page: Page, bench: Bench, job: str) -> None:
    bench.set_power(job, PowerState.MAINS)
    page.goto(f"/jobs/{job}/checks/dc-offset")
    page.locator("[name=left]").fill("much")
    page.locator("[name=right]").fill("5 Hz")
    page.get_by_role("button", name="Keep, before the work").click()
    expect(page.locator(".faults")).to_be_visible()
    expect(page.locator(".field:has([name=left]) > .fault")).to_contain_text("much")
    expect(page.locator(".field:has([name=right]) > .fault")).to_contain_text("5 Hz")
    expect(page.locator("[name=left]")).to_have_value("much")
    assert not bench.standing(job).newest


def test_a_question_is_asked_with_its_choices(page: Page, bench: Bench, job: str) -> None:
    bench.set_power(job, PowerState.MAINS)
    page.goto(f"/jobs/{job}/checks/dc-offset")
    page.locator("[name=left]").fill("1,000")
    expect(page.locator("#e-left button")).to_have_count(2)
    page.locator("#e-left button").first.click()
    expect(page.locator("#e-left .fault")).to_have_count(0)


def test_another_power_state_shows_the_way_there(page: Page, bench: Bench, job: str) -> None:
    bench.set_power(job, PowerState.OFF)
    page.goto(f"/jobs/{job}/checks/idle-current")
    expect(page.locator(".gate")).to_contain_text("full mains")
    page.locator("[name=left]").fill("10")
    page.get_by_text("Across the outer ends").click()
    page.get_by_role("button", name="Keep, before the work").click()
    expect(page.locator(".faults")).to_contain_text("count only when")
    page.get_by_role("link", name="Go there step by step").click()
    expect(page.locator(".one-step")).to_be_visible()
    for _ in range(20):
        if page.locator(".one-step").count() == 0:
            break
        before = page.locator(".needs").text_content()
        if page.locator("#proof").count():
            page.locator("#proof").fill("25 V")
            page.get_by_role("button", name="Done").click()
            expect(page.locator(".faults")).to_contain_text("is not below")
            page.locator("#proof").fill("0.4 V")
        page.get_by_role("button", name="Done").click()
        expect(page.locator("main")).not_to_contain_text(before or "")
    expect(page.locator("#strip")).to_contain_text("On full mains")
    states = [step.state for step in bench.power_steps(job)]
    assert states == [PowerState.OFF, PowerState.SAFE, PowerState.OFF, PowerState.MAINS]


def test_what_is_seen_is_drawn_with_its_numbers(page: Page, bench: Bench, job: str) -> None:
    check = catalogue.check_of("idle-current")
    log = "; ".join(f"{m} min {10.8 - 4 * 2.718 ** (-m / 7):.1f} mV" for m in range(0, 80, 2))
    given = Given(
        {"point": "resistor-pair", "left_series": log},
        power_state=PowerState.MAINS,
        spec=bench.spec_of_job(job),
    )
    bench.record(job, check, given, Visit.BEFORE)
    page.goto(f"/jobs/{job}/checks/idle-current")
    figure = page.locator(".drawing").first
    expect(figure.locator(".wide svg .sign.left").first).to_be_visible()
    expect(figure.locator(".wide svg")).to_have_attribute("role", "img")
    figure.get_by_text("The numbers").click()
    expect(figure.locator("td").first).to_be_visible()
