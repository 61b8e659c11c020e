"""Every page at both widths and in both themes, to look at: ``make screenshots``.

The pictures go to ``screenshots/``; they show the invented amplifier of the demonstration.
"""

from __future__ import annotations

import sys
import tempfile
from datetime import UTC, datetime
from pathlib import Path

from playwright.sync_api import Page, sync_playwright

from backtospec import catalogue
from backtospec.bench.jobs import open_bench
from backtospec.demo import run_demo
from backtospec.records import PowerState
from tests.browser.conftest import CHROMIUM, FLAGS, WIDTHS, Server

OUT = Path("screenshots")
THEMES = ("paper", "workshop")


def main() -> int:
    """Take all pictures; the exit status is 1 where a page is wider than its window."""
    OUT.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        told = run_demo(Path(folder) / "demo", None, datetime.now(UTC))
        data = Path(folder) / "demo" / "data"
        with open_bench(data) as bench:
            bench.set_power(told.job_id, PowerState.MAINS)
            reading = bench.standing(told.job_id).newest[0].readings[0].id
        server = Server(data)
        server.start()
        try:
            return _take(server, _addresses(told.job_id, reading))
        finally:
            server.stop()


def _addresses(job: str, reading: str) -> dict[str, str]:
    own = f"/jobs/{job}"
    named = {
        "shelf": "/",
        "add": "/amplifiers/new",
        "quick": "/quick",
        "job": own,
        "job-before": f"{own}?visit=before",
        "power": f"{own}/power",
        "power-step": f"{own}/power?to=safe",
        "reading": f"{own}/readings/{reading}",
        "watch-begin": f"{own}/checks/idle-current/watch",
    }
    return named | {
        f"check-{check.id}": f"{own}/checks/{check.id}" for check in catalogue.all_checks()
    }


def _take(server: Server, addresses: dict[str, str]) -> int:
    too_wide = []
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        for width in WIDTHS:
            page = browser.new_page(viewport={"width": width, "height": 900})
            for name, address in addresses.items():
                page.goto(server.address + address, wait_until="load")
                for theme in THEMES:
                    _picture(page, theme, OUT / f"{name}-{width}-{theme}.png")
                if page.evaluate("document.documentElement.scrollWidth") > width:
                    too_wide.append(f"{name} at {width}")
            page.close()
        browser.close()
    print(f"{len(addresses) * len(WIDTHS) * len(THEMES)} pictures in {OUT}/")
    for name in too_wide:
        print(f"wider than its window: {name}")
    return 1 if too_wide else 0


def _picture(page: Page, theme: str, path: Path) -> None:
    page.evaluate("theme => { document.documentElement.dataset.theme = theme; }", theme)
    page.screenshot(path=path, full_page=True)


if __name__ == "__main__":
    sys.exit(main())
