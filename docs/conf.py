"""How the pages are built: Markdown, and what the program says of itself."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

project = "Backtospec"
author = "The Backtospec authors"
copyright = author
language = "en"

extensions = ["myst_parser", "sphinx.ext.autodoc", "numpydoc", "generated_pages"]
exclude_patterns = ["_build"]

myst_heading_anchors = 3
myst_enable_extensions = ["colon_fence"]

autodoc_member_order = "bysource"
autodoc_typehints_format = "short"
numpydoc_show_class_members = False

# A dead link to anything of our own fails the build; what is private, and other libraries' types,
# are only named.
nitpicky = True
nitpick_ignore_regex = [
    (r"py:.*", r"(?!backtospec\b).*"),
    (r"py:.*", r"backtospec\.(.*\.)?_\w+"),
    (r"py:.*", r"backtospec\.checks|backtospec\.check\.answers\.Kind"),
]

html_theme = "furo"
html_title = "Backtospec"
html_static_path = ["_static"]
html_css_files = ["notebook.css"]
html_copy_source = False
html_show_sourcelink = False
pygments_style = "bw"
pygments_dark_style = "gruvbox-dark"

_PAPER = {
    "color-background-primary": "#fffdf8",
    "color-background-secondary": "#f5f0e6",
    "color-background-hover": "#e9dfc9",
    "color-background-hover--transparent": "#e9dfc900",
    "color-background-border": "#d9cfbd",
    "color-background-item": "#d9cfbd",
    "color-foreground-primary": "#1f1b16",
    "color-foreground-secondary": "#5d554a",
    "color-foreground-muted": "#5d554a",
    "color-foreground-border": "#8a7f6f",
    "color-code-background": "#f5f0e6",
    "color-code-foreground": "#1f1b16",
    "color-inline-code-background": "#f5f0e6",
    "color-brand-primary": "#8a3b12",
    "color-brand-content": "#8a3b12",
    "color-brand-visited": "#6d4a2f",
    "color-highlighted-background": "#f3dfae",
    "color-api-name": "#1f1b16",
    "color-api-pre-name": "#5d554a",
}
_WORKSHOP = {
    "color-background-primary": "#1c1813",
    "color-background-secondary": "#14110d",
    "color-background-hover": "#2b241a",
    "color-background-hover--transparent": "#2b241a00",
    "color-background-border": "#3a3226",
    "color-background-item": "#3a3226",
    "color-foreground-primary": "#f3e9d8",
    "color-foreground-secondary": "#b9ac97",
    "color-foreground-muted": "#b9ac97",
    "color-foreground-border": "#7d715f",
    "color-code-background": "#14110d",
    "color-code-foreground": "#f3e9d8",
    "color-inline-code-background": "#2b241a",
    "color-brand-primary": "#ffc46b",
    "color-brand-content": "#ffc46b",
    "color-brand-visited": "#dcb98a",
    "color-highlighted-background": "#5a4413",
    "color-api-name": "#f3e9d8",
    "color-api-pre-name": "#b9ac97",
}
html_theme_options = {"light_css_variables": _PAPER, "dark_css_variables": _WORKSHOP}
