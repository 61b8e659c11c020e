"""The bench page: a job with 50,000 readings, the first page on a slow machine, a large upload."""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import time
import urllib.request
from contextlib import closing
from http.client import HTTPConnection
from pathlib import Path

from playwright.sync_api import sync_playwright

from backtospec import catalogue
from backtospec.bench.jobs import Bench, open_bench
from backtospec.bench.runs import Given
from backtospec.records import PowerState, Visit
from backtospec.store import write
from backtospec.store.write import Entry
from tests.browser.conftest import CHROMIUM, FLAGS, Server
from tests.cli.conftest import SHEET

READINGS = 50_000
_A_SITTING = 10
_SLOWER = 4
_UPLOAD_MB = 200


def main() -> None:
    """Print the figures."""
    with tempfile.TemporaryDirectory() as folder:
        data = Path(folder) / "data"
        with open_bench(data) as bench:
            amplifier = bench.add_amplifier(SHEET, "sheet", "1")
            small, large = (bench.open_job(amplifier.id, t).id for t in ("small", "large"))
            for job in (small, large):
                _sit(bench, job)
            _fill(bench, large)
        server = Server(data)
        server.start()
        try:
            _print_openings(server, small, large)
            _print_first_page(server)
            _print_upload(server)
        finally:
            server.stop()


def _sit(bench: Bench, job: str) -> None:
    bench.set_power(job, PowerState.MAINS)
    given = Given({"left": "5 mV"}, power_state=PowerState.MAINS, spec=bench.spec_of_job(job))
    bench.record(job, catalogue.check_of("dc-offset"), given, Visit.BEFORE)


def _fill(bench: Bench, job: str) -> None:
    entries = [Entry(key, "5 mV", 0.005, "V") for key in ("left", "right") * (_A_SITTING // 2)]
    for _ in range(READINGS // _A_SITTING):
        write.add_sitting_with_readings(
            bench._store,
            entries,
            job_id=job,
            check_id="dc-offset",
            visit=Visit.BEFORE,
            power_state=PowerState.MAINS,
        )


def _print_openings(server: Server, small: str, large: str) -> None:
    for job in (small, large):
        _seconds(f"{server.address}/jobs/{job}")
    few, many = (_seconds(f"{server.address}/jobs/{job}") for job in (small, large))
    print(f"job page, 1 reading {few:.3f} s, {READINGS} readings {many:.3f} s: {many / few:.1f} ×")


def _seconds(address: str) -> float:
    began = time.perf_counter()
    urllib.request.urlopen(address).read()
    return time.perf_counter() - began


def _print_first_page(server: Server) -> None:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        for rate in (1, _SLOWER):
            page = browser.new_context().new_page()
            session = page.context.new_cdp_session(page)
            session.send("Emulation.setCPUThrottlingRate", {"rate": rate})
            page.goto(server.address)
            usable_ms, weight = page.evaluate(
                "[performance.getEntriesByType('navigation')[0].domContentLoadedEventEnd,"
                " performance.getEntriesByType('navigation').concat("
                "performance.getEntriesByType('resource'))"
                ".reduce((sum, e) => sum + e.decodedBodySize, 0)]"
            )
            print(f"first page usable after {usable_ms:.0f} ms at 1/{rate} speed, {weight} bytes")
        browser.close()


def _print_upload(server: Server) -> None:
    page = urllib.request.urlopen(server.address)
    cookie = str(page.headers["set-cookie"]).split(";")[0]
    token = page.read().decode().split('data-form-token="')[1].split('"')[0]
    headers = {
        "cookie": cookie,
        "x-form-token": token,
        "content-type": "application/octet-stream",
        "content-length": str(_UPLOAD_MB << 20),
    }
    assert server.process is not None
    before = _peak_mb(server.process)
    began = time.perf_counter()
    with closing(HTTPConnection("127.0.0.1", server.port, timeout=600)) as line:
        block = bytes(1 << 20)
        body = (block for _ in range(_UPLOAD_MB))
        line.request("PUT", "/uploads?name=large.wav", body=body, headers=headers)
        assert line.getresponse().status == 200
    taken, grown = time.perf_counter() - began, _peak_mb(server.process) - before
    print(f"upload of {_UPLOAD_MB} MB in {taken:.1f} s; peak memory grew by {grown:.0f} MB")


def _peak_mb(process: subprocess.Popen[bytes]) -> float:
    """Return the highest memory a process ever held, in MB; Linux alone tells it of another."""
    if sys.platform != "linux":
        return resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
    for line in Path(f"/proc/{process.pid}/status").read_text().splitlines():
        if line.startswith("VmHWM"):
            return float(line.split()[1]) / 1024
    return 0.0
