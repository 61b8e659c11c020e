"""Start the command line: ``python -m backtospec`` or ``backtospec``."""

from __future__ import annotations

import os
import sys


def main() -> None:
    """Run the command line and exit with its status."""
    from backtospec.cli.app import run_command_line

    try:
        status = run_command_line(sys.argv[1:])
        sys.stdout.flush()
    except BrokenPipeError:
        # Whoever read our output has had enough, as with "| head": no fault of the command.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        status = 0
    sys.exit(status)


if __name__ == "__main__":
    main()
