"""An invented amplifier on a simulated bench, taken through the same path as a stranger's."""

from __future__ import annotations

from backtospec.demo.telling import Told, run_demo

__all__ = ["Told", "run_demo"]
