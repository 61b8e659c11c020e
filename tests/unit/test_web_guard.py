"""Who may ask for a page, what a form must bring, and what every answer carries."""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from backtospec.bench.jobs import open_bench
from backtospec.cli.app import run_command_line
from backtospec.errors import BenchError
from backtospec.web.app import create_app
from backtospec.web.guard import host_allowed
from backtospec.web.serving import listen_on, make_certificate, make_settings
from backtospec.web.sessions import Doorkeeper, Sessions, hash_passphrase
from backtospec.web.settings import Settings

PASSPHRASE = "correct horse staple"
Client = Callable[[Settings], TestClient]


@pytest.fixture
def client(tmp_path: Path) -> Iterator[Client]:
    """Return a function that gives a browser of a page with the given settings."""
    with ExitStack() as stack:

        def begin(settings: Settings) -> TestClient:
            app = create_app(lambda: open_bench(tmp_path / "data"), settings)
            browser = TestClient(app, base_url="http://127.0.0.1", follow_redirects=False)
            return stack.enter_context(browser)

        yield begin


def token_of(text: str) -> str:
    """Return the form token of a page."""
    found = re.search(r'data-form-token="(\w+)"', text)
    assert found
    return found[1]


def test_a_page_may_load_nothing_from_elsewhere(client: Client) -> None:
    answer = client(Settings()).get("/")
    policy = answer.headers["content-security-policy"]
    assert "default-src 'self'" in policy
    assert "unsafe" not in policy
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert not re.findall(r"<script(?![^>]*\bsrc=)|<style|\sstyle=|\son\w+=", answer.text)
    assert not re.findall(r'(?:src|href)="(?:https?:)?//', answer.text)


def test_the_generated_api_pages_are_off(client: Client) -> None:
    browser = client(Settings())
    assert {browser.get(p).status_code for p in ("/docs", "/redoc", "/openapi.json")} == {404}


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1.evil.example", "192.168.1.7", ""])
def test_another_name_is_not_answered_to(client: Client, host: str) -> None:
    assert client(Settings()).get("/", headers={"host": host}).status_code == 421


def test_a_name_of_ours_is_answered_to() -> None:
    assert host_allowed("[::1]:80", Settings())
    assert host_allowed("bench.example:80", Settings(host_names=("bench.example",)))
    assert not host_allowed("[:80", Settings())


def test_a_form_without_its_token_is_refused(client: Client, tmp_path: Path) -> None:
    browser = client(Settings())
    token = token_of(browser.get("/").text)
    form = {"what": "Brandt, K 40, 1974"}
    assert browser.post("/amplifiers/new", data=form).status_code == 403
    assert browser.post("/amplifiers/new", data={**form, "form_token": "x"}).status_code == 403
    with open_bench(tmp_path / "data") as bench:
        assert not bench.amplifiers()
    assert browser.post("/amplifiers/new", data={**form, "form_token": token}).status_code == 303


def test_another_sites_form_is_refused_even_with_the_token(client: Client) -> None:
    browser = client(Settings())
    form = {"what": "Brandt, K 40", "form_token": token_of(browser.get("/").text)}
    foreign = {"origin": "http://evil.example"}
    assert browser.post("/amplifiers/new", data=form, headers=foreign).status_code == 403


def test_a_form_token_outlives_a_restart(client: Client) -> None:
    first = client(Settings())
    token = token_of(first.get("/").text)
    second = client(Settings())
    second.cookies = first.cookies
    form = {"what": "Brandt, K 40, 1974", "form_token": token}
    assert second.post("/amplifiers/new", data=form).status_code == 303


def test_a_form_or_file_that_is_too_large_is_refused(client: Client) -> None:
    browser = client(Settings(form_bytes=1000, upload_bytes=1000))
    token = token_of(browser.get("/").text)
    assert browser.post("/quick", data={"note": "x" * 2000}).status_code == 413
    headers = {"x-form-token": token, "content-type": "application/octet-stream"}
    answer = browser.put("/uploads?name=a.wav", content=b"x" * 2000, headers=headers)
    assert answer.status_code == 413
    assert browser.put("/uploads?name=a.wav", content=b"x").status_code == 415


def test_an_upload_is_kept_under_its_hash(client: Client, tmp_path: Path) -> None:
    browser = client(Settings())
    token = token_of(browser.get("/").text)
    headers = {"x-form-token": token, "content-type": "application/octet-stream"}
    kept = browser.put("/uploads?name=..%2Fidle.csv", content=b"a,b\n", headers=headers).json()
    assert kept["name"] == "idle.csv"
    given = browser.get(f"/files/{kept['sha256']}")
    assert given.content == b"a,b\n"
    assert given.headers["content-disposition"].startswith("attachment")
    assert not list((tmp_path / "data" / "uploads").iterdir())


def test_others_are_let_in_by_the_passphrase_alone(client: Client) -> None:
    browser = client(make_settings("0.0.0.0", PASSPHRASE, tls=False))
    html = {"accept": "text/html"}
    turned_away = browser.get("/jobs/j-x", headers=html)
    assert turned_away.headers["location"] == "/enter?to=%2Fjobs%2Fj-x"
    assert browser.get("/jobs/j-x/live").status_code == 401
    token = token_of(browser.get("/enter").text)
    wrong = {"passphrase": "wrong", "to": "/", "form_token": token}
    assert "is wrong" in browser.post("/enter", data=wrong).text
    right = {"passphrase": PASSPHRASE, "to": "//evil.example", "form_token": token}
    entered = browser.post("/enter", data=right)
    assert entered.headers["location"] == "/"
    cookie = entered.headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=Strict" in cookie
    assert browser.get("/").status_code == 200
    token = token_of(browser.get("/").text)
    browser.post("/leave", data={"form_token": token})
    assert browser.get("/", headers=html).status_code == 303


def test_nobody_else_is_served_without_a_passphrase(tmp_path: Path) -> None:
    with pytest.raises(BenchError, match="passphrase"):
        create_app(lambda: open_bench(tmp_path / "data"), Settings(host="0.0.0.0"))
    with pytest.raises(BenchError, match="10 or more"):
        make_settings("0.0.0.0", "short", tls=False)


def test_wrong_passphrases_are_slowed_down() -> None:
    now = 0.0
    door = Doorkeeper(hash_passphrase(PASSPHRASE), now=lambda: now)
    for _ in range(5):
        with pytest.raises(BenchError, match="is wrong"):
            door.admit("guess")
    with pytest.raises(BenchError, match="Wait 5 s"):
        door.admit(PASSPHRASE)
    now = 6.0
    door.admit(PASSPHRASE)


def test_a_session_ends_and_cannot_be_forged() -> None:
    now = 1000.0
    sessions = Sessions(b"secret", 1.0, "", now=lambda: now)
    begun = sessions.begin(signed_in=False)
    cookie = sessions.write(begun)
    assert sessions.read(cookie) == begun
    assert sessions.read(cookie.replace(".0.", ".1.")) is None
    assert sessions.read("nonsense") is None
    assert Sessions(b"secret", 1.0, "another passphrase").read(cookie) is None
    now = 5000.0
    assert sessions.read(cookie) is None


def test_the_certificate_names_where_it_is_served(tmp_path: Path) -> None:
    from cryptography import x509

    key, certificate = tmp_path / "key.pem", tmp_path / "certificate.pem"
    make_certificate(key, certificate, "192.168.1.7")
    assert key.stat().st_mode & 0o077 == 0
    made = x509.load_pem_x509_certificate(certificate.read_bytes())
    names = made.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert "192.168.1.7" in [str(a) for a in names.get_values_for_type(x509.IPAddress)]
    assert "localhost" in names.get_values_for_type(x509.DNSName)


def test_a_port_that_is_taken_is_refused_in_words() -> None:
    with listen_on("127.0.0.1", 0) as taken, pytest.raises(BenchError, match="cannot be had"):
        listen_on("127.0.0.1", taken.getsockname()[1])


def test_serving_others_from_a_script_needs_a_passphrase_file(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO())
    words = ["--data-dir", str(tmp_path), "serve", "--host", "0.0.0.0", "--no-open"]
    assert run_command_line(words) == 2
    assert "--passphrase-file" in capsys.readouterr().err
    assert run_command_line([*words, "--passphrase-file", str(tmp_path / "none")]) == 2
    assert "cannot be read" in capsys.readouterr().err
