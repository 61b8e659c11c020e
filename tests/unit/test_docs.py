"""The pages hold true: what they show runs, and nothing that exists goes unmentioned."""

from __future__ import annotations

import ast
import importlib.util
import json
import re
import shlex
from collections.abc import Iterator
from dataclasses import dataclass, fields
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest
import soundfile
import typer

from backtospec import catalogue
from backtospec.cli.app import app, run_command_line
from backtospec.sources.spec_sheets import read_spec

ROOT = Path(__file__).parents[2]
DOCS = ROOT / "docs"
PAGES = sorted(p for p in DOCS.rglob("*.md") if "_build" not in p.parts and p.parent.name[0] != "g")
PROMPT = "$ "
STATUS = "# exit status "
ID = re.compile(r"\b[ajr]-[0-9a-z]{5}\b")


def load_generator() -> ModuleType:
    pytest.importorskip(
        "sphinx", reason="python -m pip install --require-hashes -r requirements.lock"
    )
    spec = importlib.util.spec_from_file_location("generated_pages", DOCS / "generated_pages.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def generated() -> dict[str, str]:
    pages = load_generator().pages()
    assert isinstance(pages, dict)
    return pages


# --- what the pages show ----------------------------------------------------------------------


@dataclass(frozen=True)
class Shown:
    """One command of a page, what the page says it prints, and its exit status."""

    words: tuple[str, ...]
    output: tuple[str, ...]
    status: int


def blocks(page: str, language: str) -> Iterator[tuple[str, str]]:
    """Find the fenced blocks of a language, each with its caption."""
    pattern = r"^```(?:\{code-block\} )?" + language + r"\n(?::caption: ([^\n]+)\n\n)?(.*?)^```$"
    for match in re.finditer(pattern, page, re.M | re.S):
        yield match[1] or "", match[2]


def shown_in(block: str) -> Iterator[Shown]:
    """Cut a console block into its commands."""
    for part in re.split(r"^\$ ", block, flags=re.M)[1:]:
        lines = part.replace("\\\n", " ").splitlines()
        while lines[0].count('"') % 2:  # a quotation goes on in the next line
            lines[:2] = [f"{lines[0]} {lines[1].strip()}"]
        status = [int(line.removeprefix(STATUS)) for line in lines if line.startswith(STATUS)]
        output = tuple(line for line in lines[1:] if line.strip() and not line.startswith(STATUS))
        yield Shown(tuple(shlex.split(lines[0])), output, status[0] if status else 0)


class Reader:
    """Somebody who works through a page, with the ids they were given in place of the page's."""

    def __init__(self) -> None:
        self.ids: dict[str, str] = {}

    def words(self, words: tuple[str, ...]) -> list[str]:
        return [ID.sub(lambda m: self.ids[m[0]], word) for word in words]

    def compare(self, output: tuple[str, ...], printed: str) -> None:
        """Find each line of the page in what was printed, in order; "..." leaves something out."""
        printed = " ".join(printed.split())
        place = 0
        for line in output:
            new: list[str] = []
            found = re.compile(self._pattern(line, new)).search(printed, place)
            assert found, f"not printed: {line}\n\n{printed}"
            self.ids |= dict(zip(new, found.groups(), strict=True))
            place = found.end()

    def _pattern(self, line: str, new: list[str]) -> str:
        pattern = ""
        for piece in re.split(rf"(\.\.\.|{ID.pattern})", " ".join(line.split())):
            if piece == "...":
                pattern += ".*?"
            elif ID.fullmatch(piece) and piece not in self.ids:
                new.append(piece)
                pattern += f"({ID.pattern})"
            else:
                pattern += re.escape(self.ids.get(piece, piece)).replace(r"\ ", " ?")
        return pattern


@pytest.mark.parametrize(
    "page",
    [page for page in PAGES if "```console" in page.read_text(encoding="utf-8")],
    ids=lambda page: page.stem,
)
def test_what_a_page_shows_really_runs(
    page: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    text = page.read_text(encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    for name, content in [*blocks(text, "toml"), *blocks(text, "text")]:
        if name:
            (tmp_path / name).write_text(content, encoding="utf-8")
    write_calibration_tone(tmp_path / "calibration.wav")
    reader = Reader()
    shown = [s for _, block in blocks(text, "console") for s in shown_in(block)]
    assert shown
    for one in shown:
        assert one.words[0] == "backtospec"
        capsys.readouterr()
        status = run_command_line([*reader.words(one.words[1:]), "--data-dir", "data"])
        printed = capsys.readouterr()
        assert status == one.status, printed.err + printed.out
        reader.compare(one.output, printed.out)


def write_calibration_tone(path: Path) -> None:
    """Ten volts rms into dividers whose full scale is 50 V and 49.75 V peak, a little noise."""
    time_s = np.arange(4 * 48_000) / 48_000
    wave = 10.0 * np.sqrt(2) * np.sin(2 * np.pi * 997 * time_s)
    noise = np.random.default_rng(997).standard_normal((len(time_s), 2)) * 1e-5
    soundfile.write(path, np.column_stack((wave / 50, wave / 49.75)) + noise, 48_000, "PCM_24")


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.stem)
def test_every_command_a_page_names_exists(page: Path) -> None:
    text = re.sub(r"\\\n", " ", page.read_text(encoding="utf-8"))
    known = commands()
    for mentioned in re.finditer(r"backtospec ([a-z-]+)([^`\n]*)", text):
        if f"backtospec {mentioned[1]}" in re.sub(r"```.*?```|`[^`\n]+`", "", text, flags=re.S):
            continue  # prose
        assert mentioned[1] in known, mentioned[0]
        options = {o for p in known[mentioned[1]].params for o in [*p.opts, *p.secondary_opts]}
        for option in re.findall(r"(?<=\s)--[a-z-]+", mentioned[2]):
            assert option in options | {"--json", "--data-dir"}, mentioned[0]


def test_the_spec_sheet_of_the_page_is_whole() -> None:
    page = (DOCS / "how-to" / "write-a-spec-sheet.md").read_text(encoding="utf-8")
    [(name, text)] = blocks(page, "toml")
    sheet = read_spec(text, name)
    records: list[Any] = [sheet, sheet.ratings[0], sheet.idle, sheet.offset, sheet.capacitors[0]]
    for record in [*records, sheet.chart[0]]:
        for field in fields(record):
            assert getattr(record, field.name) is not None, f"{type(record).__name__}.{field.name}"
    assert len(sheet.ratings) == 2


def test_the_check_of_the_page_is_found_and_runs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    page = (DOCS / "how-to" / "add-a-check.md").read_text(encoding="utf-8")
    [(name, text)] = blocks(page, "python")
    (tmp_path / name).write_text(text, encoding="utf-8")
    monkeypatch.setenv(catalogue.EXTRA_FOLDER, str(tmp_path))
    catalogue.all_checks.cache_clear()
    try:
        assert run_command_line(["run", "relay-delay", "--set", "delay=4s"]) == 0
        assert "LEAVE" in capsys.readouterr().out
        assert "check-relay-delay.md" in load_generator().pages()
    finally:
        catalogue.all_checks.cache_clear()


# --- nothing goes unmentioned -----------------------------------------------------------------


def commands() -> dict[str, Any]:
    group: Any = typer.main.get_command(app)
    return dict(group.commands)


def test_every_command_is_documented(generated: dict[str, str]) -> None:
    page = generated["commands.md"]
    for name, command in commands().items():
        section = re.search(rf"^## {name}\n(.*?)(?=^## |\Z)", page, re.M | re.S)
        assert section, name
        assert len(section[1].split("```")[0].strip()) > 20, f"{name} says nothing of itself"
        for parameter in command.params:
            for option in [o for o in parameter.opts if o.startswith("--") and o != "--help"]:
                assert f"{option}" in section[1], f"{name} {option}"


def test_every_check_is_documented(generated: dict[str, str]) -> None:
    listed = generated["checks.md"]
    for check in catalogue.all_checks():
        page = generated[f"check-{check.id}.md"]
        assert f"(check-{check.id}.md)" in listed
        for item in (*check.inputs, *check.results):
            assert f"| `{item.key}` |" in page
        for text in (*check.cautions, *check.steps, *check.sources):
            assert load_generator().plain(text) in page
        assert page.count("\n### ") == len(check.examples)
        assert page.index("} Cautions") < page.index("## Steps") < page.index("## Inputs")


def test_every_module_of_the_pure_parts_has_a_page(generated: dict[str, str]) -> None:
    for path in (ROOT / "src" / "backtospec" / "analysis").glob("[a-z]*.py"):
        assert f"api-analysis-{path.stem}.md" in generated
    assert {"api-quantity.md", "api-verdict.md", "api-check.md"} <= set(generated)


def test_no_link_is_dead(generated: dict[str, str]) -> None:
    made = DOCS / "reference" / "generated"
    texts = {page: page.read_text(encoding="utf-8") for page in PAGES}
    texts |= {made / name: text for name, text in generated.items()}
    seen = 0
    for page, text in texts.items():
        for target in re.findall(r"\]\(([^)\s]+)\)", re.sub(r"```.*?```", "", text, flags=re.S)):
            path, _, anchor = target.partition("#")
            there = (page.parent / path).resolve() if path else page
            assert there in texts, f"{page.name}: {target}"
            if anchor:
                titles = re.findall(r"^#+ (.+)$", texts[there], re.M)
                slugs = {re.sub(r"[^\w-]", "", t.lower().replace(" ", "-")) for t in titles}
                assert anchor in slugs, f"{page.name}: {target}"
            seen += 1
    assert seen > 50


# --- JSON documents ---------------------------------------------------------------------------

LINK = re.compile(r"\[[^\]]+\]\(#([^)]+)\)")


def json_shapes() -> dict[str, dict[str, str]]:
    """Return the documented kind of every key, by section and key."""
    text = (DOCS / "reference" / "json.md").read_text(encoding="utf-8")
    shapes: dict[str, dict[str, str]] = {}
    for title, body in re.findall(r"^##+ (.+?)\n(.*?)(?=^##|\Z)", text, re.M | re.S):
        rows = re.findall(r"^\| (`.+?`) \| (.+?) \| .+ \|$", body, re.M)
        shape = {key: kind for keys, kind in rows for key in re.findall(r"`(\w+)`", keys)}
        shapes[title.replace(" ", "-")] = shape or dict(shapes.get(LINK.findall(body)[0], {}))
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
    run("status", job["job"])
    run("report", job["job"], "--out", "out")
    run("readings", "idle.csv")
    assert run("readings", "dates.csv")["action"] == "ask"
    run("warm-up", "idle.csv", "--target", "10 mV", "--tolerance", "1 mV")
    run("adjust", "idle.csv", "--target", "10 mV", "--position", "2 o'clock")
    tone = ("--full-scale-volts", "50", "--load-ohm", "8", "--nominal-hz", "997")
    run("analyse", "tone.wav", "--kind", "tone", *tone)
    run("run", "no-such-check")
    run("read", "10,000")
    assert names == set(commands()) - {"demo"} | {"error"}


def test_every_key_of_an_analysed_ramp_is_documented(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A tone in four steps, the last of them over the edge of the amplifier."""
    rate_hz = 48_000
    levels = np.repeat([0.05, 0.15, 0.4, 0.75], rate_hz)
    phase = 2 * np.pi * 997 * np.arange(len(levels)) / rate_hz
    wave = np.clip(levels * np.sin(phase), -0.6, 0.6) + 0.001 * levels * np.sin(2 * phase)
    noise = np.random.default_rng(7).standard_normal((len(wave), 2)) * 1e-5
    path = tmp_path / "ramp.wav"
    soundfile.write(path, np.column_stack((wave, 0.98 * wave)) + noise, rate_hz, "PCM_24")
    calibration = ("--full-scale-volts", "40", "--load-ohm", "8", "--nominal-hz", "997")
    run_command_line(["analyse", str(path), "--kind", "ramp", *calibration, "--json"])
    document = json.loads(capsys.readouterr().out)
    assert len(document["steps"]) >= 3
    assert document_faults(document) == []
