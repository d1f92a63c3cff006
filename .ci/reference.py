"""Build the API reference from the docstrings of all public names, into the folder given."""

import sys
from pathlib import Path

import pdoc

import stonelayout

for name in stonelayout.__all__:
    getattr(stonelayout, name)  # loaded on first use, and pdoc lists only what is there
pdoc.pdoc("stonelayout", output_directory=Path(sys.argv[1]))
