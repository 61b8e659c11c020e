"""Reference pages written from the program itself: checks, commands and modules.

Nothing here is listed by hand, so a check, a command or a module cannot be forgotten. Used by
Sphinx as an extension; the pages go to ``reference/generated``, which is not kept in version
control.
"""

from __future__ import annotations

import importlib
import pkgutil
import re
import shlex
from collections.abc import Iterable, Iterator
from decimal import Decimal
from enum import Enum
from pathlib import Path
from typing import Any, assert_never

import typer
from sphinx.pycode import ModuleAnalyzer

import backtospec
from backtospec import catalogue
from backtospec.check import (
    CaptureInput,
    Check,
    ChoiceInput,
    Example,
    Input,
    NumberInput,
    PhotoInput,
    SeriesInput,
    Stage,
    TableInput,
    TextInput,
)
from backtospec.check.needs import NEEDS
from backtospec.cli.app import app as command_line
from backtospec.quantity import write

FOLDER = Path("reference") / "generated"

MODULES = ("quantity", "verdict", "check", "analysis", "records", "errors")
"""Parts of the package that others may build on; each is documented with all below it."""

STAGES_ELSEWHERE: dict[Stage, tuple[str, ...]] = {
    Stage.INTAKE: ("add", "spec"),
    Stage.SMALL_SIGNAL: ("analyse",),
    Stage.DISTORTION: ("analyse",),
    Stage.PHONO: ("analyse",),
    Stage.HAND_BACK: ("report",),
}
NEEDS_ELSEWHERE: dict[int, tuple[str, ...]] = {
    2: ("warm-up",),
    3: ("warm-up",),
    4: ("explanation/idle-is-not-offset.md",),
    9: ("adjust", "how-to/adjust-a-trimmer.md"),
    15: ("analyse",),
    28: ("how-to/calibrate-a-sound-interface.md",),
    30: ("analyse",),
    31: ("analyse",),
    32: ("analyse",),
    33: ("analyse",),
    36: ("analyse",),
    38: ("explanation/how-sure-is-it.md",),
    40: ("run", "correct", "report"),
    41: ("adjust",),
    42: ("power", "status"),
    43: ("read", "attach"),
    44: ("how-to/read-off-a-meter.md",),
    45: ("add", "status"),
    47: ("status",),
    50: ("replaced",),
    53: ("report",),
    54: ("open", "status"),
    55: ("explanation/how-sure-is-it.md",),
}
"""What answers a stage, or a need, without being a check: commands, and pages of our own."""


def setup(app: Any) -> dict[str, bool]:
    """Register with Sphinx: the pages are written before it looks for sources."""
    app.connect("builder-inited", lambda sphinx: write_pages(Path(sphinx.srcdir)))
    app.connect("autodoc-process-docstring", _escape_bars)
    app.connect("autodoc-process-signature", _tell_default)
    app.connect("autodoc-skip-member", _skip_member)
    return {"parallel_read_safe": True, "parallel_write_safe": True}


def write_pages(source: Path) -> None:
    """Write every page that changed, and remove those of things that are gone."""
    folder = source / FOLDER
    folder.mkdir(parents=True, exist_ok=True)
    wanted = pages()
    for path in folder.glob("*.md"):
        if path.name not in wanted:
            path.unlink()
    for name, text in wanted.items():
        path = folder / name
        if not path.exists() or path.read_text(encoding="utf-8") != text:
            path.write_text(text, encoding="utf-8")


def pages() -> dict[str, str]:
    """Return the text of every generated page by its file name."""
    checks = catalogue.all_checks()
    found = {f"check-{check.id}.md": check_page(check) for check in checks}
    found["checks.md"] = checks_page(checks)
    found["commands.md"] = commands_page()
    found["coverage.md"] = coverage_page(checks)
    found |= module_pages()
    return found


def plain(text: str) -> str:
    """Return text in which Markdown sees no marks of its own."""
    return re.sub(r"([\\`*_{}\[\]<>#|$~])", r"\\\1", " ".join(text.split()))


def table(titles: tuple[str, ...], rows: list[tuple[str, ...]]) -> str:
    """Return a Markdown table of cells that are Markdown already; narrow screens stack it."""
    cells = [titles, tuple("---" for _ in titles), *rows]
    lines = ["| " + " | ".join(row) + " |" for row in cells]
    return "\n".join([":::{table}", ":class: stacked", "", *lines, ":::"])


def contents(names: list[str]) -> str:
    """Return a hidden table of contents."""
    return "\n".join(["```{toctree}", ":hidden:", "", *names, "```"])


# --- checks ---------------------------------------------------------------------------------


def checks_page(checks: tuple[Check, ...]) -> str:
    """Return the page that lists every check in the order of the job."""
    rows = [
        (
            plain(check.stage.title),
            f"[{plain(check.title)}](check-{check.id}.md)",
            plain(check.why),
        )
        for check in checks
    ]
    return "\n\n".join(
        [
            "# The checks",
            "In the order the work is done. Each page shows the cautions first: read them before "
            "the cover comes off.",
            table(("Stage", "Check", "What it is for"), rows),
            contents([f"check-{check.id}" for check in checks]),
        ]
    )


def check_page(check: Check) -> str:
    """Return the page of one check, made from its declaration alone."""
    parts = [
        f"# {plain(check.title)}",
        plain(check.why),
        f"Stage: {plain(check.stage.title)}. [Power state](../../explanation/power-states.md) in "
        f"which its readings count: {' or '.join(f'*{state}*' for state in check.power_states)}.",
        ":::{admonition} Cautions\n:class: warning\n\n" + _bullets(check.cautions) + "\n:::",
        "## Steps",
        "\n".join(f"{count}. {plain(step)}" for count, step in enumerate(check.steps, 1)),
        "## Inputs",
        "Numbers are typed as people write them; a bare number is taken in the unit shown. The "
        "accuracy in brackets, percent of the reading and counts of the last digit, is taken where "
        "no meter is named.",
        table(("Key", "What", "Accepts"), [_input_row(item) for item in check.inputs]),
        "## Results",
        "In the SI unit shown; percent and decibels as themselves.",
        table(
            ("Key", "What", "Unit"),
            [(f"`{r.key}`", plain(r.title), plain(r.unit) or "–") for r in check.results],
        ),
        "## Worked examples",
        "Each of them is run as a test.",
        *(_example(check, example) for example in check.examples),
        "## Sources",
        _bullets(check.sources),
    ]
    return "\n\n".join(parts) + "\n"


def _bullets(lines: tuple[str, ...]) -> str:
    return "\n".join(f"- {plain(line)}" for line in lines)


def _input_row(item: Input) -> tuple[str, str, str]:
    what = plain(item.prompt)
    if probed_at := getattr(item, "probed_at", ""):
        what += f", {plain(probed_at)}"
    if item.required:
        what += " (needed)"
    default = getattr(item, "default", None)
    accepts = _accepts(item)
    if default is not None:
        accepts += f"; `{default}` unless said"
    return f"`{item.key}`", what, accepts


def _accepts(item: Input) -> str:
    match item:
        case NumberInput():
            accepts = _range(item)
            if item.by_meter:
                accepts += f" ({item.assumed_percent:g} % + {item.assumed_counts:g})"
            elif item.tolerance_percent:
                accepts += f"; ±{item.tolerance_percent:g} % taken"
            return accepts
        case SeriesInput():
            return f"{_range(item)}, over time: typed as `10 min 7.1; 20 min 8.0`, or a log file"
        case ChoiceInput():
            return "; ".join(f"`{c.value}` {plain(c.text)}" for c in item.choices)
        case TableInput():
            columns = ", ".join(f"{plain(c.prompt)} ({_accepts_cell(c)})" for c in item.columns)
            return f"rows with `;` between them: {columns}"
        case CaptureInput():
            return f"a WAV or FLAC file, analysed as a {plain(item.analysis)}"
        case TextInput():
            return "a few words"
        case PhotoInput():
            return "a JPEG or PNG picture"
        case _:
            assert_never(item)


def _accepts_cell(item: NumberInput | ChoiceInput | TextInput) -> str:
    if isinstance(item, TextInput):
        return "words"
    if isinstance(item, ChoiceInput):
        return ", ".join(f"`{choice.value}`" for choice in item.choices)
    return _range(item)


def _range(item: NumberInput | SeriesInput) -> str:
    low, high = (format(Decimal(repr(bound)).normalize(), "f") for bound in (item.low, item.high))
    return plain(f"{low} … {high} {item.unit}".replace("-", "−"))


def _example(check: Check, example: Example) -> str:
    words = ["backtospec", "run", check.id]
    settings = [shlex.quote(f"{key}={text}") for key, text in example.answers.items()]
    options = [f"--set {setting}" for setting in settings]
    if example.spec:
        options.append("--spec sheet.toml")
    parts = [f"### {plain(example.title)}"]
    if example.spec:
        parts.append(f"```{{code-block}} toml\n:caption: sheet.toml\n\n{example.spec.strip()}\n```")
    lines = " \\\n    ".join([" ".join(words), *options])
    parts.append(f"```shell\n{lines}\n```")
    units = {r.key: r.unit for r in check.results}
    facts = [f"advice: **{', '.join(example.advice)}**"]
    if example.never:
        facts.append(f"never: {', '.join(example.never)}")
    if example.cause:
        facts.append(f"cause named: {plain(example.cause)}")
    values, verdicts = example.values or {}, example.verdicts or {}
    for key in dict.fromkeys([*values, *verdicts]):
        told = [write(values[key][0], units[key], 4).replace("-", "−")] if key in values else []
        told += [str(verdicts[key])] if key in verdicts else []
        facts.append(f"`{key}`: {plain(', '.join(told))}")
    parts.append("\n".join(f"- {fact}" for fact in facts))
    parts.append(f"Source: {plain(example.source)}.")
    return "\n\n".join(parts)


# --- coverage -------------------------------------------------------------------------------


def coverage_page(checks: tuple[Check, ...]) -> str:
    """Return the page that holds stages and needs against what answers them."""
    stages = [
        (
            f"{stage.value} {plain(stage.title)}",
            _check_links(c for c in checks if c.stage is stage),
            _links(STAGES_ELSEWHERE.get(stage, ())),
        )
        for stage in Stage
    ]
    needs = [
        (
            f"{number} {plain(need)}",
            _check_links(c for c in checks if number in c.needs),
            _links(NEEDS_ELSEWHERE.get(number, ())),
        )
        for number, need in NEEDS.items()
    ]
    return "\n\n".join(
        [
            "# What is covered",
            "The stages of the job, and what people at the bench ask, against the checks that "
            "answer. Made from what each check declares; *open* is what nothing answers yet.",
            "## Stages",
            table(("Stage", "Checks", "Also"), [_or_open(row) for row in stages]),
            "## Needs",
            table(("Need", "Checks", "Also"), [_or_open(row) for row in needs]),
        ]
    )


def _check_links(checks: Iterable[Check]) -> str:
    return ", ".join(f"[{plain(check.title)}](check-{check.id}.md)" for check in checks)


def _links(names: tuple[str, ...]) -> str:
    return ", ".join(
        f"[{Path(name).stem.replace('-', ' ')}](../../{name})"
        if name.endswith(".md")
        else f"[`{name}`](commands.md#{name})"
        for name in names
    )


def _or_open(row: tuple[str, str, str]) -> tuple[str, str, str]:
    what, checks, elsewhere = row
    return what, checks or ("–" if elsewhere else "*open*"), elsewhere or "–"


# --- commands -------------------------------------------------------------------------------


def commands() -> dict[str, Any]:
    """Return every command by its name, in the order of the help."""
    group: Any = typer.main.get_command(command_line)
    return dict(group.commands)


def commands_page() -> str:
    """Return the page of every command, made from the program's own help."""
    group: Any = typer.main.get_command(command_line)
    context = group.make_context("backtospec", ["--help"], resilient_parsing=True)
    parts = [
        "# The commands",
        plain(group.help or ""),
        "Exit status: 0 done; 1 a FAIL or a STOP; 2 unusable input, or a question that must be "
        "answered first. What `--json` prints is described under [JSON documents](../json.md).",
        "## Options of every command",
        "They may stand anywhere on the line.",
        table(("Option", "What"), [_parameter_row(p, context) for p in group.params]),
    ]
    for name, command in group.commands.items():
        parts += _command(name, command, context)
    return "\n\n".join(parts) + "\n"


def _command(name: str, command: Any, above: Any) -> Iterator[str]:
    context = type(above)(command, parent=above, info_name=name)
    said, _, example = (command.help or "").partition("Example:")
    yield f"## {name}"
    yield plain(said)
    usage = " ".join(command.collect_usage_pieces(context)).replace("[OPTIONS]", "[options]")
    yield f"```text\nbacktospec {name} {re.sub('[{}]', '', usage)}\n```"
    rows = [_parameter_row(p, context) for p in command.params if p.name != "help"]
    if rows:
        yield table(("Argument or option", "What"), rows)
    if example.strip():
        yield f"Example:\n\n```shell\n{' '.join(example.split())}\n```"


def _parameter_row(parameter: Any, context: Any) -> tuple[str, str]:
    record = parameter.get_help_record(context)
    if record is None:  # an argument
        record = (parameter.make_metavar(context), parameter.help or "")
    names, said = (re.sub(r"<.+>", "…", record[0]), record[1])
    said = said.replace("[required]", "(needed)")
    said = re.sub(r"\[default: (.+)\]", r"(\1 unless said)", said)
    return f"`{names.strip()}`", plain(said)


# --- modules --------------------------------------------------------------------------------


def module_pages() -> dict[str, str]:
    """Return a page for each module, and one that lists them."""
    names = [name for part in MODULES for name in _modules_of(f"{backtospec.__name__}.{part}")]
    rows = []
    found = {}
    for name in names:
        short = name.removeprefix(f"{backtospec.__name__}.")
        page = f"api-{short.replace('.', '-')}"
        line = (importlib.import_module(name).__doc__ or "").strip().partition("\n")[0]
        rows.append((f"[`{short}`]({page}.md)", plain(line)))
        found[f"{page}.md"] = _module_page(name, short)
    listed = [
        "# The modules",
        "The pure parts, for those who script in Python or write a check. They touch no file and "
        "no database.",
        table(("Module", "What"), rows),
        contents([name.removesuffix(".md") for name in found]),
    ]
    found["api.md"] = "\n\n".join(listed)
    return found


def _modules_of(name: str) -> Iterator[str]:
    """Name a module and those inside it, where they have anything public to show."""
    module = importlib.import_module(name)
    if (module.__doc__ or "").strip():
        yield name
    if hasattr(module, "__all__") or not hasattr(module, "__path__"):
        return  # a package that names what it offers keeps the rest to itself
    for info in pkgutil.iter_modules(module.__path__, f"{name}."):
        if not info.name.rpartition(".")[2].startswith("_"):
            yield from _modules_of(info.name)


def _module_page(name: str, short: str) -> str:
    lines = [f".. automodule:: {name}", "   :members:", "   :undoc-members:"]
    if not hasattr(importlib.import_module(name), "__path__"):
        lines.append("   :ignore-module-all:")  # what is public shows, exported or not
    aliases = _aliases(name)
    if aliases:  # autodoc takes an alias for the class it stands for
        lines.append(f"   :exclude-members: {', '.join(aliases)}")
    for alias, said in aliases.items():
        lines += ["", f".. py:data:: {alias}", f"   :module: {name}", ""]
        lines += [f"   {line}" for line in said]
    return "\n".join([f"# {short}", "", "```{eval-rst}", *lines, "```", ""])


def _aliases(name: str) -> dict[str, list[str]]:
    """Return the public type aliases that a module defines, with what is said of each."""
    module = importlib.import_module(name)
    told = ModuleAnalyzer.for_module(name).find_attr_docs()
    return {
        alias: [
            f"Stands for ``{str(getattr(module, alias)).replace('typing.', '')}``.",
            "",
            *told.get(("", alias), []),
        ]
        for alias, kind in getattr(module, "__annotations__", {}).items()
        if kind == "TypeAlias" and not alias.startswith("_")
    }


def _skip_member(
    _app: Any, what: str, _name: str, member: Any, skip: bool, _options: Any
) -> bool | None:
    """Leave out fields without words of their own: signature and parameters tell them already."""
    bare = what == "class" and not callable(member) and not isinstance(member, Enum | property)
    return True if bare and not skip and not _has_words(member) else None


def _tell_default(
    _app: Any,
    _what: str,
    _name: str,
    _object: Any,
    _options: Any,
    signature: str | None,
    returns: str | None,
) -> tuple[str | None, str | None]:
    """Write a default that is made anew each time so that the signature stays readable."""
    return (signature and signature.replace("<factory>", "...")), returns


def _has_words(member: Any) -> bool:
    return bool(getattr(member, "__doc__", None)) and member.__doc__ != type(member).__doc__


def _escape_bars(
    _app: Any, _what: str, _name: str, _object: Any, _options: Any, lines: list[str]
) -> None:
    """Keep the bars of an absolute value from being taken for a substitution."""
    lines[:] = [
        line if "``" in line or line.lstrip().startswith(">>>") else line.replace("|", r"\|")
        for line in lines
    ]
