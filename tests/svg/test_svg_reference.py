"""Ten quirks of the resvg suite (Apache-2.0, tests/data/resvg), and all 216 where they are near."""

import pytest
from paths import DATA, SHARED

pytest.importorskip("resvg_py", reason="the reference renderer is optional")
pytest.importorskip("PIL", reason="the reference renderer's pictures need it")

from judge import coverage, differing, opened, render

from stonelayout.errors import ArtworkError
from stonelayout.svg import read_svg
from stonelayout.writers.artwork_svg import seen_svg

SAMPLE = sorted((DATA / "resvg").glob("*.svg"))
SHARED = SHARED / "reference" / "resvg_tests"
#: Pixels that the suite's own judges leave to antialiasing.
AGREEMENT = 8
#: Named, with the reasons, in svg/UNSUPPORTED.md.
UNMATCHED = {
    "ch-values",
    "background-color-with-viewbox",
    "circle-shorthand",
    "circle-shorthand-with-view-box",
}


def difference(path):
    reference = opened(path.with_suffix(".png"))
    try:
        art = read_svg(path)
    except ArtworkError:
        return 0 if reference[..., 3].max() == 0 else reference.size
    size = reference.shape[1], reference.shape[0]
    return differing(coverage(render(seen_svg(art), size, stretch=True)), coverage(reference))


@pytest.mark.parametrize("path", SAMPLE, ids=lambda path: path.stem)
def test_a_quirk_is_read_as_its_picture_shows(path):
    assert difference(path) <= AGREEMENT


def test_the_judge_sees_a_lost_shape():
    path = SAMPLE[0]
    reference = coverage(opened(path.with_suffix(".png")))
    assert differing(reference * 0.0, reference) > AGREEMENT


@pytest.mark.skipif(not SHARED.is_dir(), reason="the 216 tests are not kept in the project")
def test_the_suite_matches_but_for_what_is_named():
    missed = {path.stem for path in SHARED.rglob("*.svg") if difference(path) > AGREEMENT}
    assert missed <= UNMATCHED
