"""The bench page: everything the command line does, in a browser, offline."""

from __future__ import annotations
