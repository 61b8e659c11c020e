"""Where facts are kept: raw readings, append-only, in one folder on this machine.

:mod:`~backtospec.store.opening` opens it, :mod:`~backtospec.store.write` adds facts,
:mod:`~backtospec.store.read` gives them back, :mod:`~backtospec.store.files` keeps recordings
and logs.
"""
