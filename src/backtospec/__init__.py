"""Backtospec: from raw bench readings to judged findings and a report."""

import os

# Our matrices are small, and several processes work at once: threads inside the linear algebra
# would only fight each other for the cores. Must be said before numpy is first imported.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

__version__ = "0.1.0"
