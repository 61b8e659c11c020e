"""Two browsers on one job, readings as they come, and files on their way."""

from __future__ import annotations

from playwright.sync_api import Browser, Page, expect

from backtospec import catalogue
from backtospec.bench.jobs import Bench
from backtospec.bench.runs import Given
from backtospec.records import PowerState, Visit


def test_two_browsers_see_each_others_readings(
    page: Page, browser: Browser, base_url: str, bench: Bench, job: str
) -> None:
    bench.set_power(job, PowerState.MAINS)
    other = browser.new_page(base_url=base_url)
    other.goto(f"/jobs/{job}/checks/dc-offset")
    page.goto(f"/jobs/{job}/checks/dc-offset")
    page.locator("[name=left]").fill("half typed")
    other.locator("[name=left]").fill("8.5 mV")
    other.get_by_role("button", name="Keep, before the work").click()
    expect(page.locator("#result")).to_contain_text("8.5 mV")
    expect(page.locator("[name=left]")).to_have_value("half typed")
    other.close()


def test_another_program_is_seen_too(page: Page, bench: Bench, job: str) -> None:
    page.goto(f"/jobs/{job}")
    expect(page.locator("#strip")).to_contain_text("How is it powered?")
    bench.set_power(job, PowerState.MAINS)
    expect(page.locator("#strip")).to_contain_text("On full mains")
    given = Given({"left": "5 mV"}, power_state=PowerState.MAINS, spec=bench.spec_of_job(job))
    bench.record(job, catalogue.check_of("dc-offset"), given, Visit.BEFORE)
    expect(page.locator("#stage-7")).to_contain_text("5 mV")


def test_a_warm_up_is_watched_one_key_a_reading(page: Page, bench: Bench, job: str) -> None:
    bench.set_power(job, PowerState.MAINS)
    page.goto(f"/jobs/{job}/checks/idle-current/watch")
    page.get_by_text("Across the outer ends").click()
    page.get_by_label("Reading", exact=True).fill("7.1")
    page.get_by_role("button", name="Begin").click()
    field = page.locator("form[data-pedal] [name=reading]")
    for value in ("7.4", "7.6", "7.7"):
        expect(field).to_be_focused()
        field.fill(value)
        page.keyboard.press("PageDown")
        expect(page.locator(".lasts")).to_contain_text(value)
        expect(field).to_have_value("")
    expect(page.locator("#live-watch .drawing svg").first).to_be_visible()
    sittings = bench.view(job).sittings
    assert len(sittings) == 1
    said = [(r.key, r.text.split(" min ")[1]) for r in sittings[0].readings if "series" in r.key]
    assert said == [
        ("left_series", "7.1"),  # one meter, two channels: left, right, left again
        ("right_series", "7.4"),
        ("left_series", "7.6"),
        ("right_series", "7.7"),
    ]


def test_an_ambiguous_log_is_asked_about(page: Page, bench: Bench, job: str) -> None:
    bench.set_power(job, PowerState.MAINS)
    rows = "".join(f"03/04/2026 20:{m:02}:00;9,{600 + m}\n" for m in range(0, 50, 2))
    page.goto(f"/jobs/{job}/checks/idle-current")
    page.get_by_text("Across the outer ends").click()
    page.get_by_text("Over time", exact=True).click()
    page.set_input_files(
        "[data-file=left_series] input[type=file]",
        files={"name": "log.csv", "mimeType": "text/csv", "buffer": f"time;mV\n{rows}".encode()},
    )
    expect(page.locator("[data-file=left_series] .given")).to_contain_text("log.csv")
    for _ in range(4):
        page.get_by_role("button", name="Keep, before the work").click()
        expect(page.locator("#result, .question").first).to_be_visible()
        if page.locator(".question").count() == 0:
            break
        expect(page.locator(".question pre").first).to_be_visible()  # the file itself is quoted
        page.locator(".question button").first.click()
    expect(page.locator("#result")).to_be_visible()
    told = [r.key for r in bench.view(job).sittings[-1].readings if "." in r.key]
    assert told
