"""The pages hold true: what they show runs, and nothing that exists goes unmentioned."""

from __future__ import annotations

import importlib.util
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
from backtospec.check import Stage
from backtospec.check.needs import NEEDS
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
    "path",
    [path for path in PAGES if "```console" in path.read_text(encoding="utf-8")],
    ids=lambda path: path.stem,
)
def test_what_a_page_shows_really_runs(
    path: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    text = path.read_text(encoding="utf-8")
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
    hiss = np.random.default_rng(997).standard_normal((len(time_s), 2)) * 1e-5
    soundfile.write(path, np.column_stack((wave / 50, wave / 49.75)) + hiss, 48_000, "PCM_24")


@pytest.mark.parametrize("path", PAGES, ids=lambda path: path.stem)
def test_every_command_a_page_names_exists(path: Path) -> None:
    text = re.sub(r"\\\n", " ", path.read_text(encoding="utf-8"))
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


def test_coverage_holds_every_stage_and_need(generated: dict[str, str]) -> None:
    page, generator = generated["coverage.md"], load_generator()
    for stage in Stage:
        assert f"| {stage.value} {generator.plain(stage.title)} |" in page
    for number, need in NEEDS.items():
        assert f"| {number} {generator.plain(need)} |" in page
    for check in catalogue.all_checks():
        [row] = re.findall(rf"^\| {check.stage.value} {check.stage.title} \|.*$", page, re.M)
        assert f"(check-{check.id}.md)" in row
        assert set(check.needs) <= set(NEEDS), check.id
        for number in check.needs:
            [row] = re.findall(
                rf"^\| {number} {re.escape(generator.plain(NEEDS[number]))} .*$", page, re.M
            )
            assert f"(check-{check.id}.md)" in row


def test_what_answers_without_being_a_check_exists() -> None:
    generator = load_generator()
    assert set(generator.NEEDS_ELSEWHERE) <= set(NEEDS)
    named = [*generator.STAGES_ELSEWHERE.values(), *generator.NEEDS_ELSEWHERE.values()]
    for name in {name for names in named for name in names}:
        assert name in commands() or DOCS / name in PAGES, name


@pytest.mark.parametrize(
    "stage", [stage for stage in Stage if stage <= Stage.SMALL_SIGNAL], ids=lambda s: s.name
)
def test_a_check_answers_each_stage_up_to_the_small_signal(stage: Stage) -> None:
    assert [check.id for check in catalogue.all_checks() if check.stage is stage]


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
