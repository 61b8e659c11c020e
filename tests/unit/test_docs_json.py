"""What commands print as JSON is told on one page, key by key."""

from __future__ import annotations

import ast
import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from backtospec import catalogue
from backtospec.analysis import burst, noise, square, stepped, stimuli, sweep, two_tone
from backtospec.analysis.notes import FileFacts
from backtospec.analysis.response_against import AGAINST, against_document
from backtospec.analysis.setup import CaptureSetup
from backtospec.analysis.stimulus_playing import PlayedSignal, Playing
from backtospec.cli.app import run_command_line
from tests.unit.test_docs import DOCS, ROOT, blocks, commands, write_calibration_tone

LINK = re.compile(r"\[[^\]]+\]\(#([^)]+)\)")


def json_shapes() -> dict[str, dict[str, str]]:
    """Return the documented kind of every key, by section and key."""
    text = (DOCS / "reference" / "json.md").read_text(encoding="utf-8")
    shapes: dict[str, dict[str, str]] = {}
    for title, body in re.findall(r"^##+ (.+?)\n(.*?)(?=^##|\Z)", text, re.M | re.S):
        rows = re.findall(r"^\| (`.+?`) \| (.+?) \| .+ \|$", body, re.M)
        shape = {key: kind for keys, kind in rows for key in re.findall(r"`(\w+)`", keys)}
        slug = title.replace(",", "").replace(" ", "-")
        shapes[slug] = shape or dict(shapes.get(LINK.findall(body)[0], {}))
    for slug in [slug for slug in shapes if slug.startswith("analyse-")]:
        shapes[slug] = shapes["analyse"] | shapes[slug]
    return shapes


def undocumented(document: Any, kind: str, shapes: dict[str, dict[str, str]]) -> Iterator[str]:
    """Name every key of a document that the kind says nothing of."""
    link = LINK.search(kind)
    if isinstance(document, list):
        for item in document:
            yield from undocumented(item, kind.removeprefix("list of "), shapes)
    elif isinstance(document, dict) and kind.startswith("by "):
        for value in document.values():
            yield from undocumented(value, kind.partition(", ")[2], shapes)
    elif isinstance(document, dict):
        assert link, f"{kind!r} is no shape for {sorted(document)}"
        shape = shapes[link[1]]
        for key, value in document.items():
            told = shape.get(key) or shape.get(re.sub(r"_(u|at_most)$", "", key))
            if told is None:
                yield f"{link[1]}: {key}"
            else:
                yield from undocumented(value, told, shapes)


def document_faults(document: dict[str, Any]) -> list[str]:
    product, name, version = document["schema"].split("/")
    assert (product, version) == ("backtospec", "1")
    body = {key: value for key, value in document.items() if key != "schema"}
    name = f"analyse-{document['kind']}" if name == "analyse" else name
    return sorted(set(undocumented(body, f"[{name}](#{name})", json_shapes())))


def test_every_schema_has_a_section() -> None:
    shapes = json_shapes()
    named = {
        node.args[0].value
        for path in (ROOT / "src" / "backtospec" / "cli").glob("*.py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Attribute)
        and node.func.attr == "document"
        and isinstance(node.args[0], ast.Constant)
    }
    assert {"run", "status", "readings", "warm-up"} <= named
    assert named | {"error"} <= set(shapes)


def test_an_undocumented_key_is_noticed() -> None:
    assert document_faults({"schema": "backtospec/meter/1", "name": "x", "colour": 1}) == [
        "meter: colour"
    ]
    nested = {"schema": "backtospec/run/1", "advice": [{"kind": "LEAVE", "mood": "good"}]}
    assert document_faults(nested) == ["advice: mood"]


SHEET = next(
    block
    for _, block in blocks(
        (DOCS / "tutorial" / "first-amplifier.md").read_text(encoding="utf-8"), "toml"
    )
)


def test_every_key_that_is_printed_is_documented(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "sheet.toml").write_text(SHEET, encoding="utf-8")
    rows = [f"{m},{10.9 - 2.0 * np.exp(-m / 6):.2f}" for m in range(0, 70, 2)]
    (tmp_path / "idle.csv").write_text("\n".join(["minutes,left mV", *rows]), encoding="utf-8")
    (tmp_path / "dates.csv").write_text("01/02/2026 20:00;9,6\n02/03/2026 20:00;9,7\n")
    write_calibration_tone(tmp_path / "tone.wav")
    names = set()

    def run(*words: str) -> dict[str, Any]:
        capsys.readouterr()
        run_command_line([*words, "--json", "--data-dir", "data"])
        document = json.loads(capsys.readouterr().out)
        assert document_faults(document) == []
        names.add(document["schema"].split("/")[1])
        assert isinstance(document, dict)
        return document

    job = run("add", "--spec", "sheet.toml", "--serial", "7")
    run("checks")
    for check in catalogue.all_checks():
        for example in check.examples:
            settings = [w for k, v in example.answers.items() for w in ("--set", f"{k}={v}")]
            if not example.spec:
                run("run", check.id, *settings)
    offset = ("dc-offset", "--set", "left=5mV", "--set", "right=25 mV", "--set", "limiter=out")
    ran = run("run", *offset, "--job", job["job"], "--state", "mains", "--meter", "0.5 % + 3")
    run("correct", ran["readings"]["left"], "6 mV")
    quick = run("read", "L", "9.6mV")
    run("status")
    run("attach", quick["id"], job["job"])
    run("replaced", job["job"], "C801", "--old", "a", "--new", "b", "--reason", "c")
    run("open", job["amplifier"])
    run("spec", job["amplifier"], "sheet.toml")
    run("meter", "bench", "0.5 % + 3")
    run("power", job["job"], "safe", "--set", "residual_v=0.3V", "--set", "residual_later_v=0.6V")
    run("power", job["job"], "mains", "--skipped", "the leads were on")
    run("status", job["job"])
    run("report", job["job"], "--out", "out")
    run("readings", "idle.csv")
    assert run("readings", "dates.csv")["action"] == "ask"
    run("warm-up", "idle.csv", "--target", "10 mV", "--tolerance", "1 mV")
    run("adjust", "idle.csv", "--target", "10 mV", "--position", "2 o'clock")
    tone = ("--full-scale-volts", "50", "--load-ohm", "8", "--nominal-hz", "997")
    run("analyse", "tone.wav", "--kind", "tone", *tone)
    run("signal", "tone", "--out", "played.wav", "--seconds", "1")
    run("run", "no-such-check")
    run("read", "10,000")
    monkeypatch.setattr("backtospec.web.serving.serve_until_stopped", lambda *_, **__: None)
    run("serve", "--no-open")
    assert not set(commands()) - names - {"demo"}, "run the new command here too"


def test_every_key_of_an_analysed_ramp_is_documented(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A tone in four steps, the last of them over the edge of the amplifier."""
    rate_hz = 48_000
    levels = np.repeat([0.05, 0.15, 0.4, 0.75], rate_hz)
    phase = 2 * np.pi * 997 * np.arange(len(levels)) / rate_hz
    wave = np.clip(levels * np.sin(phase), -0.6, 0.6) + 0.001 * levels * np.sin(2 * phase)
    hiss = np.random.default_rng(7).standard_normal((len(wave), 2)) * 1e-5
    path = tmp_path / "ramp.wav"
    soundfile.write(path, np.column_stack((wave, 0.98 * wave)) + hiss, rate_hz, "PCM_24")
    calibration = ("--full-scale-volts", "40", "--load-ohm", "8", "--nominal-hz", "997")
    run_command_line(["analyse", str(path), "--kind", "ramp", *calibration, "--json"])
    document = json.loads(capsys.readouterr().out)
    assert len(document["steps"]) >= 3
    assert document_faults(document) == []


def test_every_kind_of_analysis_has_a_section(capsys: pytest.CaptureFixture[str]) -> None:
    calibration = ("--full-scale-volts", "40", "--load-ohm", "8", "--nominal-hz", "997")
    run_command_line(["analyse", "no.wav", "--kind", "none such", *calibration, "--json"])
    told = json.loads(capsys.readouterr().out)["error"][0]["what"].partition("none of ")[2]
    kinds = [kind.strip(" .") for kind in told.split(",")]
    assert {"tone", "ramp"} <= set(kinds)
    assert {f"analyse-{kind}" for kind in kinds} <= set(json_shapes())


def recorded(played: PlayedSignal) -> tuple[np.ndarray[Any, Any], FileFacts]:
    """Return a played signal as an amplifier with a little distortion, hum and noise gives it."""
    wave = np.append(played.samples, np.zeros(played.rate_hz // 2))
    time_s = np.arange(len(wave)) / played.rate_hz
    wave = wave + 0.003 * wave**2 + 0.002 * wave**3 + 3e-4 * np.sin(2 * np.pi * 100 * time_s)
    hiss = np.random.default_rng(5).standard_normal((len(wave), 2)) * 1e-5
    return np.column_stack((wave, 0.9 * wave)) + hiss, FileFacts(len(wave), played.rate_hz, 24)


def test_every_key_of_the_other_analyses_is_documented() -> None:
    setup = CaptureSetup(
        full_scale_volts=(40.0,), load_ohm=(8.0,), nominal_hz=1000.0, rated_power_w=20.0
    )
    two_tones = CaptureSetup(full_scale_volts=(40.0,), load_ohm=(8.0,), nominal_hz=60.0)
    plan = stimuli.synchronised(20.0, 20_000.0, 3.0)
    silence = stimuli.tone(1000.0, 1.0, Playing(level_dbfs_peak=-140.0))
    tones = stimuli.stepped_tones((400.0, 1000.0, 4000.0), 0.5)
    found = [
        noise.document_of(noise.analyse_noise(*recorded(silence), setup)),
        burst.document_of(burst.analyse_burst(*recorded(stimuli.burst(1000.0, 3)), setup)),
        sweep.document_of(sweep.analyse_sweep(*recorded(stimuli.sweep(plan)), setup, plan)),
        square.document_of(square.analyse_square(*recorded(stimuli.square(1000.0, 1.0)), setup)),
        two_tone.document_of(
            two_tone.analyse_two_tone(
                *recorded(stimuli.two_tone(60.0, 7000.0, 4.0, 2.0)), two_tones, 7000.0
            )
        ),
        stepped.document_of(stepped.analyse_stepped(*recorded(tones), setup)),
    ]
    left = found[2]["channels"]["L"]
    by_hz = {float(hz): db for hz, db in left["response_db"].items()}
    for against in AGAINST:
        outcome = against_document(by_hz, {}, against, {100.0: 6.0})
        found.append({**found[2], "channels": {"L": {**left, "against": outcome}}})
    for document in found:
        assert document["channels"]["L"]["valid"], document
        assert document_faults(document) == []
