"""Sphinx's settings for the pages that build.py gathers."""

import lagline

project = "Lagline"
author = "The Lagline developers"
version = release = lagline.__version__
extensions = ["myst_parser", "sphinx.ext.autodoc", "sphinx.ext.napoleon"]
source_suffix = {".md": "markdown", ".rst": "restructuredtext"}
html_theme = "furo"
html_title = "Lagline"
html_static_path: list[str] = []
# Docstrings are written to be read in an editor: how they come out here is no error. Links are.
suppress_warnings = ["docutils", "myst.header"]
myst_heading_anchors = 4  # links to headings, as the guide has them
autodoc_default_options = {"members": True, "show-inheritance": False}
autodoc_typehints = "signature"
autodoc_mock_imports: list[str] = []
default_role = "literal"  # what stands in single backticks is a name or a value
napoleon_google_docstring = False
# Behind a parameter's name stands prose ("samples, shape (lanes,)"), no type to be linked word by word.
napoleon_use_param = False
napoleon_use_rtype = False
python_use_unqualified_type_names = True
