"""The documentation as a site: `make docs`. The same Markdown that is read in the repository.

Nothing of a page is fetched from elsewhere; `docs/site/check.py` refuses a site that would.
"""

from __future__ import annotations

from importlib.metadata import version as installed

project = "Witnessmark"
author = "the Witnessmark authors"
copyright = "the Witnessmark authors, Apache-2.0"  # noqa: A001 - the generator's name for it
version = release = installed("witnessmark")

extensions = ["myst_nb", "sphinx.ext.autodoc", "sphinx.ext.napoleon"]
root_doc = "docs/index"
include_patterns = [
    "docs/**",
    "notebooks/*.ipynb",
    "README.md",
    "CONTRIBUTING.md",
    "CHANGELOG.md",
    "studies/**.md",
    "benchmarks/*.md",
    "release/*.md",
]
exclude_patterns = [
    ".venv",
    ".git",
    "build",
    "dist",
    "src",
    "tests",
    "docs/site",
    "**/__pycache__",
    "studies/fuel_supply/ABOUT.md",  # a piece of RESULTS.md
    "studies/circuits/ABOUT.md",  # the same
]

# Markdown as it is read in the repository: headings can be pointed at, files are handed on.
myst_heading_anchors = 4
myst_enable_extensions = ["colon_fence"]
suppress_warnings = ["myst.header"]

# The suite runs the notebooks; the site runs them once more, so that it shows what they give.
nb_execution_mode = "force"
nb_execution_timeout = 600
nb_execution_raise_on_error = True
nb_merge_streams = True

autodoc_typehints = "description"
autodoc_member_order = "bysource"
napoleon_google_docstring = True

html_theme = "furo"
html_title = "Witnessmark"
html_copy_source = False
html_show_sphinx = False
html_theme_options = {"footer_icons": []}
html_use_opensearch = ""
