"""Run every benchmark and print its figures: ``python -m tests.benchmark``."""

from __future__ import annotations

import importlib
import pkgutil

import backtospec  # noqa: F401 - before numpy: one thread of linear algebra
import tests.benchmark as package

for info in pkgutil.iter_modules(package.__path__):
    if info.name != "__main__":
        print(f"== {info.name}")
        importlib.import_module(f"{package.__name__}.{info.name}").main()
