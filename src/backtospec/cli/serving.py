"""The command that opens the bench page."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from backtospec.cli.output import Output, output_of
from backtospec.errors import BenchError


def register(app: typer.Typer) -> None:
    """Add this command to the command line."""
    app.command()(serve)


def serve(
    context: typer.Context,
    host: Annotated[
        str, typer.Option(help="Address to listen on; others reach any but 127.0.0.1.")
    ] = "127.0.0.1",
    port: Annotated[int, typer.Option(help="Port; 0 takes a free one.", min=0, max=65535)] = 0,
    tls: Annotated[bool, typer.Option("--tls", help="Serve https, self-signed.")] = False,
    passphrase_file: Annotated[
        Path | None, typer.Option(help="First line is the passphrase others must type.")
    ] = None,
    open_browser: Annotated[
        bool, typer.Option("--open/--no-open", help="Open it in the browser.")
    ] = True,
) -> None:
    """Open the bench page in the browser; it stays on this machine.

    Example:  backtospec serve --port 8600 --no-open
    """
    serve_page(
        output_of(context),
        host=host,
        port=port,
        tls=tls,
        passphrase=None if passphrase_file is None else _first_line(passphrase_file),
        open_browser=open_browser,
    )


def serve_page(
    output: Output,
    *,
    host: str = "127.0.0.1",
    port: int = 0,
    tls: bool = False,
    passphrase: str | None = None,
    open_browser: bool = True,
    path: str = "/",
) -> None:
    """Serve the page until it is stopped, and say where it is."""
    from backtospec.web.app import create_app
    from backtospec.web.serving import listen_on, make_settings, serve_until_stopped

    if passphrase is None and host not in ("127.0.0.1", "::1", "localhost"):
        passphrase = _ask_passphrase(host)
    settings = make_settings(host, passphrase, tls)
    with listen_on(host, port) as listening:
        address = f"{'https' if tls else 'http'}://{_shown(host)}:{listening.getsockname()[1]}"
        app = create_app(output.open_bench, settings)
        if output.as_json:
            # read by whoever started it, while it goes on
            output.document("serve", {"address": address, "exposed": settings.exposed, "tls": tls})
            sys.stdout.flush()
        else:
            console = output.console()
            console.print(f"The bench page: {address}{path}   (stop it with Ctrl+C)")
            if settings.exposed:
                console.print(
                    "Anyone on this network who knows the passphrase can read the jobs and add to "
                    "them."
                    + ("" if tls else " Without --tls others can listen in, to the passphrase too.")
                )
        serve_until_stopped(
            app, listening, tls=tls, open_at=f"{address}{path}" if open_browser else ""
        )


def _shown(host: str) -> str:
    """Return a host as an address names it; that of all addresses is reached here by loopback."""
    if host in ("0.0.0.0", "::"):
        return "127.0.0.1" if host == "0.0.0.0" else "[::1]"
    return f"[{host}]" if ":" in host else host


def _first_line(path: Path) -> str:
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise BenchError(
            f"cannot be read ({error}).", "--passphrase-file", "Correct the path."
        ) from None
    return lines[0] if lines else ""


def _ask_passphrase(host: str) -> str:
    if not sys.stdin.isatty():
        raise BenchError(
            f"others can reach {host}, and no passphrase was given.",
            "--passphrase-file",
            "Give a file whose first line is the passphrase.",
        )
    prompt = f"Others can reach {host}. Passphrase they must type"
    return str(typer.prompt(prompt, hide_input=True, confirmation_prompt=True, err=True))
