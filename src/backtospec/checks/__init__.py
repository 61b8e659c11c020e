"""One check per file; see :mod:`backtospec.check` for the language they are written in."""
