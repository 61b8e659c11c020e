"""Start the command line: ``python -m backtospec`` or ``backtospec``."""

from __future__ import annotations

import sys


def main() -> None:
    """Run the command line and exit with its status."""
    from backtospec.cli.app import run_command_line

    sys.exit(run_command_line(sys.argv[1:]))


if __name__ == "__main__":
    main()
