"""A job file, loaded with all that it names: to be made, and written to a folder."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from stonelayout.errors import InputError
from stonelayout.files import read_bytes, text_of
from stonelayout.make import Made, make
from stonelayout.model.artwork import Artwork
from stonelayout.model.job import Job, parse_job
from stonelayout.model.shop_rates import Shop
from stonelayout.reading.file_kinds import kind_of_file

from .job_drawing import job_artwork
from .own_files import own_catalogue, shop_for

if TYPE_CHECKING:
    from .names_list import NamesList
    from .names_made import MadeNames


@dataclass(frozen=True, eq=False)
class LoadedJob:
    """A job with its drawing and the shop's prices."""

    job: Job
    artwork: Artwork
    shop: Shop

    def make(self, progress: Callable[[int, int, str], None] | None = None) -> Made:
        """Lay, check, separate and write out the whole job; touches no file (see ``Made.write``).

        ``progress`` is told, before each shape, how many are done, how many there are and the
        shape's id. Raises as ``stonelayout.make.make``.
        """
        made = make(self.job, self.artwork, self.shop, progress)
        return replace(made, sources=tuple(self._sources()))

    def _sources(self) -> Iterator[Path]:
        folder = Path(self.job.file).parent
        yield Path(self.job.file)
        yield from (folder / name for name in (self.job.artwork, self.job.shop) if name is not None)


@dataclass(frozen=True, eq=False)
class LoadedNames:
    """A job with a names list: one design for each line of it."""

    names: NamesList

    def make(
        self,
        progress: Callable[[int, int, str], None] | None = None,
        *,
        into: str | Path | None = None,
        workers: int | None = None,
        cluster: str | None = None,
        tell: Callable[[str], None] | None = None,
    ) -> MadeNames:
        """Make all lines, in parallel; arguments and errors as for ``make_names``."""
        from .names_made import make_names

        return make_names(
            self.names, progress, into=into, workers=workers, cluster=cluster, tell=tell
        )


def load_job(
    path: str | Path, catalogue_files: Iterable[str | Path] = ()
) -> LoadedJob | LoadedNames:
    """Load a job file with its drawing, its names list where it has one, and the shop's prices.

    As on the command line, the user's own catalogue and prices count, and ``catalogue_files`` are
    laid over them. Raises JobError that lists every problem in the job or shop file,
    CatalogueError likewise, InputError for a file that is not there or is something else, and what
    reading the drawing raises.
    """
    file = str(path)
    data = read_bytes(file)
    kind = kind_of_file(file, data)
    if kind in ("a drawing", "a picture"):
        raise InputError(
            f"this is {kind}, and make takes a job file (.toml) that names it under [artwork]; to "
            f"lay one pattern on it: stonelayout lay {file}",
            file=file,
        )
    text, catalogue = text_of(data, file), own_catalogue(catalogue_files)
    if "names" in text:
        from .names_list import read_names

        names = read_names(text, file, catalogue)
        if names is not None:
            return LoadedNames(names)
    job = parse_job(text, file, catalogue)
    return LoadedJob(job, job_artwork(job), shop_for(None, [job], job.catalogue))
