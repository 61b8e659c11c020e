"""Backtospec: from raw bench readings to judged findings and a report."""

__version__ = "0.1.0"
