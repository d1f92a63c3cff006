"""The user's own catalogue and prices, which go before what comes with stonelayout."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable, Sequence
from pathlib import Path

from stonelayout.files import read_text
from stonelayout.model.catalogue import Catalogue, load_catalogue
from stonelayout.model.job import Job
from stonelayout.model.shop_rates import Shop, demo_shop, parse_shop

#: A user's own files, read whenever they exist.
CATALOGUE = "catalogue.toml"
SHOP = "shop.toml"
#: Names another file than the one in the user's own folder.
CATALOGUE_VARIABLE = "STONELAYOUT_CATALOGUE"


def own_catalogue_path() -> Path:
    """Return where the user's own catalogue stands, whether or not it exists."""
    given = os.environ.get(CATALOGUE_VARIABLE)
    return Path(given) if given else _settings_folder() / "stonelayout" / CATALOGUE


def _settings_folder() -> Path:
    """Return the folder for settings: by the XDG Base Directory Specification but for two systems.

    On these it is the one that their makers name: APPDATA, Library/Application Support.
    """
    if sys.platform == "win32":
        return Path(os.environ.get("APPDATA") or Path.home())
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Application Support"
    return Path(os.environ.get("XDG_CONFIG_HOME") or Path.home() / ".config")


def own_catalogue(files: Iterable[str | Path] = ()) -> Catalogue:
    """Return the packaged catalogue, the user's own file over it, then ``files`` over that.

    Raises CatalogueError that lists every problem found.
    """
    own = own_catalogue_path()
    paths = [own] if own.is_file() or CATALOGUE_VARIABLE in os.environ else []
    return load_catalogue(*paths, *files)


def shop_for(file: str | None, jobs: Sequence[Job | None], catalogue: Catalogue) -> Shop:
    """Return the shop: the file named, else the first job's, else the user's own, else the demo.

    Raises InputError for a file that cannot be read, JobError that lists what is wrong in it.
    """
    if file is None:
        named = [job for job in jobs if job is not None and job.shop]
        if named:
            file = str(Path(named[0].file).parent / str(named[0].shop))
        else:
            own = own_catalogue_path().with_name(SHOP)
            file = str(own) if own.is_file() else None
    if file is None:
        return demo_shop(catalogue)
    return parse_shop(read_text(file), file, catalogue)
