"""Cut files: every format that a job may ask for has its writer."""

from stonelayout.model.job import CUT_FORMATS
from stonelayout.writers.cut_files import FORMATS


def test_every_format_of_a_job_has_a_writer():
    assert set(FORMATS) == set(CUT_FORMATS)
