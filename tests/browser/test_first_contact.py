"""From an empty shelf to an open job, with faults beside their fields."""

from __future__ import annotations

from playwright.sync_api import Page, expect

from backtospec.bench.jobs import Bench


def test_five_questions_put_an_amplifier_on_the_shelf(page: Page, bench: Bench) -> None:
    page.goto("/amplifiers/new")
    page.get_by_label("What does its maker claim").fill("many watts")
    page.get_by_label("What have you got to measure with").fill("a good one")
    page.get_by_role("button", name="Put it on the shelf").click()
    expect(page.locator(".field .fault")).to_have_count(3)  # all faults at once
    expect(page.get_by_label("What does its maker claim")).to_have_value("many watts")
    page.get_by_label("What is it").fill("Brandt, K 40, 1974")
    page.get_by_label("What does its maker claim").fill("2 x 40 W into 8 ohm, 0.5 %")
    page.get_by_label("What have you got to measure with").fill("bench, 0.5 % + 3")
    page.get_by_role("button", name="Put it on the shelf").click()
    expect(page.get_by_role("heading", name="The route")).to_be_visible()
    assert "K 40" in [amplifier.model for amplifier in bench.amplifiers()]
    page.goto("/?q=brandt")
    expect(page.get_by_role("link", name="Brandt K 40").first).to_be_visible()


def test_a_spec_sheet_file_is_enough(page: Page, bench: Bench) -> None:
    page.goto("/amplifiers/new")
    page.get_by_text("Or its spec sheet file").click()
    sheet = b'maker = "Oberon"\nmodel = "S 3"\nmains = "220 V 50 Hz"\nsource = "leaflet"\n'
    page.set_input_files(
        "[data-text-file] input",
        files={"name": "oberon.toml", "mimeType": "text/plain", "buffer": sheet},
    )
    expect(page.get_by_label("The sheet as text")).to_have_value(sheet.decode())
    page.get_by_role("button", name="Put it on the shelf").click()
    expect(page.get_by_role("heading", name="The route")).to_be_visible()
    assert "Oberon" in [amplifier.maker for amplifier in bench.amplifiers()]


def test_a_reading_in_ten_seconds_is_attached_later(page: Page, bench: Bench, job: str) -> None:
    page.goto("/")
    page.get_by_role("link", name="+ Reading").click()
    dialog = page.get_by_role("dialog")
    dialog.get_by_text("Left").click()
    dialog.get_by_label("Reading").fill("9,6 mV")
    dialog.get_by_label("Where was it taken?").fill("across R431")
    dialog.get_by_role("button", name="Keep it").click()
    expect(dialog).to_be_hidden()
    kept = [r for r in bench.loose_readings() if r.probed_at == "across R431"]
    assert [r.value for r in kept] == [0.0096]
    page.goto(f"/jobs/{job}")
    mine = page.locator("#loose li", has_text="across R431")
    mine.get_by_role("button", name="Attach here").click()
    expect(page.locator("#loose li", has_text="across R431")).to_have_count(0)
    assert kept[0].id not in [r.id for r in bench.loose_readings()]


def test_the_theme_follows_the_system_until_one_is_chosen(page: Page) -> None:
    page.emulate_media(color_scheme="dark")
    page.goto("/")
    expect(page.locator("html")).to_have_attribute("data-theme", "workshop")
    page.get_by_role("button", name="Paper").click()
    expect(page.locator("html")).to_have_attribute("data-theme", "paper")
    page.reload()
    expect(page.locator("html")).to_have_attribute("data-theme", "paper")
