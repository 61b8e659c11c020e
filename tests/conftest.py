"""Shared by all tests: the package first, since it settles how many threads numpy uses."""

import backtospec  # noqa: F401
