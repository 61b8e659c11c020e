"""Commands that measure and judge: analyse, checks, run."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from backtospec.cli.output import Status, output_of
from backtospec.cli.shelf import _read_text, visit_named
from backtospec.errors import BenchError

if TYPE_CHECKING:
    from backtospec.records import Meter, PowerState


def register(app: typer.Typer) -> None:
    """Add these commands to the command line."""
    for command in (analyse, signal, checks, run):
        app.command()(command)


def analyse(
    context: typer.Context,
    file: Annotated[Path, typer.Argument(help="The recording: WAV or FLAC.")],
    kind: Annotated[
        str,
        typer.Option(help="tone, ramp, two-tone, sweep, stepped, burst, square, noise, control."),
    ],
    full_scale_volts: Annotated[
        str, typer.Option(help="Peak volts at digital amplitude 1.0, L[,R]; never rms.")
    ],
    load_ohm: Annotated[str, typer.Option(help="Load as measured, hot, L[,R].")],
    nominal_hz: Annotated[
        str | None,
        typer.Option(help="Of the tone, or of two: 60,7000; 1000 unless --stimulus says."),
    ] = None,
    load_tolerance_percent: Annotated[str, typer.Option(help="Of the load.")] = "",
    mains_hz: Annotated[str, typer.Option(help="50 or 60.")] = "",
    channels: Annotated[str, typer.Option(help="Which of the file's, such as 1,2.")] = "",
    rated_thd_percent: Annotated[str, typer.Option(help="Also find the power there.")] = "",
    rated_power_w: Annotated[str, typer.Option(help="Rated power.")] = "",
    stimulus: Annotated[
        Path | None, typer.Option(help="The JSON beside what was played; a sweep needs it.")
    ] = None,
    floor: Annotated[
        Path | None, typer.Option(help="For a tone: a loop-back recording, the chain's floor.")
    ] = None,
    open_circuit: Annotated[
        Path | None,
        typer.Option(help="For a tone: the same without the load; gives the output resistance."),
    ] = None,
    bands: Annotated[str, typer.Option(help="For a tone: more bands, 20-20000,400-30000.")] = "",
    turn_s: Annotated[str, typer.Option(help="For a control: start-end of the turn, 1-11.")] = "",
    against: Annotated[
        str | None,
        typer.Option(
            help="For a response: riaa, riaa-iec, flat, tone-control, filter or loudness."
        ),
    ] = None,
    points: Annotated[
        str | None,
        typer.Option(help='For loudness: "100 Hz +6 dB, 10 kHz +4 dB", or "60/85 phon".'),
    ] = None,
    processes: Annotated[int, typer.Option(help="Processes to use; 0 lets it choose.")] = 0,
) -> int:
    """Analyse one recording: level, power, distortion, noise, response, tracking.

    Example:  backtospec analyse ramp.wav --kind ramp --full-scale-volts 36.2
    --load-ohm 7.96,8.03 --nominal-hz 997
    """
    from backtospec.bench.recordings import Recorded, document_of_file
    from backtospec.bench.signals import stated_frequencies
    from backtospec.bench.specs import frequencies_from_text, seconds_from_text, setup_from_text

    output = output_of(context)
    given = nominal_hz
    if given is None:
        stated = stated_frequencies(stimulus, kind) if stimulus else ()
        given = ",".join(f"{hz:.12g}" for hz in stated) or "1000"
    first, *second = frequencies_from_text(given) if "," in given else (given,)
    setup = setup_from_text(
        full_scale_volts=full_scale_volts,
        load_ohm=load_ohm,
        nominal_hz=str(first),
        load_tolerance_percent=load_tolerance_percent,
        mains_hz=mains_hz,
        channels=channels,
        rated_thd_percent=rated_thd_percent,
        rated_power_w=rated_power_w,
        bands=bands,
    )
    recorded = Recorded(
        setup,
        second_hz=float(second[0]) if second else None,
        stimulus=stimulus,
        floor=floor,
        open_circuit=open_circuit,
        turn_s=seconds_from_text(turn_s),
        against=against,
        points=points,
        processes=processes or None,
    )
    document = document_of_file(file, kind, recorded)
    if output.as_json:
        body = {key: value for key, value in document.items() if key != "schema"}
        output.document("analyse", body)
    else:
        from backtospec.cli.terminal import show_analysis

        show_analysis(output.console(), document)
    usable = any(channel.get("valid", True) for channel in document["channels"].values())
    return Status.DONE if usable else Status.UNUSABLE


def signal(
    context: typer.Context,
    kind: Annotated[
        str,
        typer.Argument(
            help="tone, steps, rise, stepped-tones, two-tone, sweep, burst, square, pink."
        ),
    ],
    out: Annotated[Path, typer.Option(help="Where the WAV goes; its description lies beside it.")],
    hz: Annotated[
        str, typer.Option(help="Frequency, or several: 60,7000; the usual ones without it.")
    ] = "",
    seconds: Annotated[str, typer.Option(help="How long it plays.")] = "10",
    level_dbfs: Annotated[float, typer.Option(help="Peak level, dB of full scale.")] = -3.0,
    rate_hz: Annotated[int, typer.Option(help="Sampling rate.")] = 48_000,
    dither_bits: Annotated[int, typer.Option(help="16 or 24; 0 for none.")] = 0,
    lead_in: Annotated[str, typer.Option(help="Silence before it.")] = "0.5 s",
) -> None:
    """Make a signal to play into the amplifier, with silence before it.

    Example:  backtospec signal sweep --out sweep.wav --seconds 6
    """
    from backtospec.bench.signals import make_signal, playing_from
    from backtospec.bench.specs import frequencies_from_text
    from backtospec.quantity import read

    output = output_of(context)
    wanted = frequencies_from_text(hz, most=60) if hz else ()
    length = read(seconds, "s", "seconds", 0.01, 3600)
    silence_s = read(lead_in, "s", "lead-in", 0, 60)
    playing = playing_from(rate_hz, level_dbfs, dither_bits or None, silence_s)
    description = make_signal(kind, out, wanted, length, playing)
    if output.as_json:
        output.document("signal", {"wav": str(out), "description": str(description)})
    else:
        output.console().print(f"{out} and {description}. Start with the volume at minimum.")


def checks(
    context: typer.Context,
    check_id: Annotated[str | None, typer.Argument(help="One of them, in full.")] = None,
) -> None:
    """List the checks, or show one with its cautions, steps and inputs.

    Example:  backtospec checks idle-current
    """
    from backtospec import catalogue
    from backtospec.cli.documents import of_check
    from backtospec.cli.terminal import show_check

    output = output_of(context)
    chosen = [catalogue.check_of(check_id)] if check_id else list(catalogue.all_checks())
    if output.as_json:
        output.document("checks", {"checks": [of_check(check) for check in chosen]})
        return
    console = output.console()
    if check_id:
        show_check(console, chosen[0])
        return
    for check in chosen:
        console.print(f"{check.stage:>2} {check.stage.title:14} {check.id:18} {check.why}")


def run(
    context: typer.Context,
    check_id: Annotated[str, typer.Argument(help="The check; see: backtospec checks")],
    set_: Annotated[
        list[str] | None, typer.Option("--set", help="KEY=VALUE, as you would write it.")
    ] = None,
    file: Annotated[
        list[str] | None, typer.Option("--file", help="KEY=PATH of a log or recording.")
    ] = None,
    spec: Annotated[Path | None, typer.Option(help="Spec sheet to judge by.")] = None,
    job: Annotated[str | None, typer.Option(help="Keep the readings in this job.")] = None,
    visit: Annotated[str, typer.Option(help="before or after the work.")] = "before",
    meter: Annotated[
        str | None, typer.Option(help='A meter by name, or its accuracy: "0.5 % + 3".')
    ] = None,
    state: Annotated[
        str | None,
        typer.Option(help="safe, off, limited, reduced, mains or driven; a job's own unless said."),
    ] = None,
    note: Annotated[str, typer.Option(help="A few words kept with the readings.")] = "",
) -> int:
    """Run one check: readings in, verdict and advice out.

    Example:  backtospec run dc-offset --set left=5mV --set right=0.3mV
    """
    from backtospec import catalogue
    from backtospec.bench.runs import Given
    from backtospec.bench.runs import run as run_check
    from backtospec.bench.specs import spec_of
    from backtospec.check.power_path import current_state
    from backtospec.cli.documents import of_conclusion
    from backtospec.cli.terminal import show_conclusion

    output = output_of(context)
    check = catalogue.check_of(check_id)
    texts = dict(pair(word, "--set") for word in set_ or [])
    files = {key: Path(value) for key, value in (pair(w, "--file") for w in file or [])}
    power_state = None if state is None else state_named(state)
    sheet = None if spec is None else spec_of(_read_text(spec), spec.name)
    if job is None:
        given = Given(texts, files, {}, sheet, _meter(meter, ()), power_state)
        conclusion, ids = run_check(check, given), {}
    else:
        with output.open_bench() as bench:
            known = bench.meters()
            held = sheet or bench.spec_of_job(job)
            power_state = power_state or current_state(bench.power_steps(job))
            given = Given(texts, files, {}, held, _meter(meter, known), power_state)
            judged = bench.record(job, check, given, visit_named(visit), note)
        assert judged.conclusion is not None
        conclusion, ids = judged.conclusion, {r.key: r.id for r in judged.readings}
    if output.as_json:
        kept = {"readings": ids} if ids else {}
        output.document("run", {**of_conclusion(conclusion), **kept})
    else:
        console = output.console()
        for caution in check.cautions[:1]:
            console.print(f"⚠ {caution}")
        show_conclusion(console, conclusion)
        if ids:
            console.print("kept: " + " ".join(f"{key} {id_}" for key, id_ in ids.items()))
    return Status.FAILED if conclusion.stops_or_fails else Status.DONE


def pair(word: str, option: str) -> tuple[str, str]:
    """Return key and value of a KEY=VALUE."""
    key, mark, value = word.partition("=")
    if not mark or not key.strip():
        raise BenchError(f'"{word}" is not KEY=VALUE.', option, f"Type it as {option} left=9.6mV.")
    return key.strip(), value


def state_named(text: str) -> PowerState:
    """Return the power state of that name."""
    from backtospec.records import PowerState

    try:
        return PowerState(text.strip().lower())
    except ValueError:
        names = ", ".join(PowerState)
        raise BenchError(f'"{text}" is not one of {names}.', "state", "Choose one.") from None


def _meter(text: str | None, known: tuple[Meter, ...]) -> Meter | None:
    if text is None:
        return None
    from backtospec.bench.specs import meter_named

    found = next((m for m in known if m.name == text), None)
    return found or meter_named(text, text)
