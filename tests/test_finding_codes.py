"""The registry of finding codes, held against the source: each code where it is reported."""

import ast
from pathlib import Path

import pytest

import stonelayout
from stonelayout.checks.tearing import RING_MM2, RUN_WEBS
from stonelayout.errors import InputError
from stonelayout.finding_codes import CODES_BY_STEP, FINDING_CODES
from stonelayout.findings import Finding
from stonelayout.template.layers_from_holes import MATCH_MM
from stonelayout.units import MM_PER_INCH, MM_PER_UNIT, number

ROOT = Path(stonelayout.__file__).parent
SEVERITIES = ("error", "warning", "note")


def words_of(node, function):
    """Return the texts that an expression in a function can have.

    It may be a text, a choice of two, the target of a loop over written-out tuples, or (only in
    the function itself) a parameter, which is looked up where the function is called.
    """
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return [node.value]
    if isinstance(node, ast.IfExp):
        return words_of(node.body, function) + words_of(node.orelse, function)
    loops = [loop for loop in ast.walk(function) if isinstance(loop, ast.For)]
    for loop in loops if isinstance(node, ast.Name) else ():
        targets = getattr(loop.target, "elts", [loop.target])
        for k, target in enumerate(targets):
            if getattr(target, "id", "") == node.id:
                return [row.elts[k].value for row in loop.iter.elts]
    raise AssertionError(f"line {node.lineno}: write the code and severity out where it is used")


def name_of(called):
    return getattr(called, "id", getattr(called, "attr", ""))


def reported_in(path):
    """Yield (code, severity) for every call of Finding, or of a function that passes both on."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    functions = [node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)]
    passing = {"Finding"} | {
        function.name
        for function in functions
        if [argument.arg for argument in function.args.args[:2]] == ["code", "severity"]
    }
    for function in functions:
        for call in ast.walk(function):
            if not isinstance(call, ast.Call) or name_of(call.func) not in passing:
                continue
            if function.name in passing:
                assert [argument.id for argument in call.args[:2]] == ["code", "severity"]
                continue
            for code in words_of(call.args[0], function):
                for severity in words_of(call.args[1], function):
                    yield code, severity


def test_every_code_is_registered_and_used_with_just_its_severities():
    used: dict[str, set[str]] = {}
    for path in sorted(ROOT.rglob("*.py")):
        for code, severity in reported_in(path):
            used.setdefault(code, set()).add(severity)
    assert used == {name: set(code.severities) for name, code in FINDING_CODES.items()}


def test_codes_compared_in_the_source_are_registered():
    compared = set()
    for path in ROOT.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Compare) and getattr(node.left, "attr", "") == "code":
                compared |= {
                    part.value
                    for other in node.comparators
                    for part in ast.walk(other)
                    if isinstance(part, ast.Constant) and isinstance(part.value, str)
                }
    assert "row-without-room" in compared
    assert compared <= set(FINDING_CODES)


@pytest.mark.parametrize(
    ("code", "severity", "words"),
    [
        ("web-to-thin", "error", 'unknown finding "web-to-thin"; did you mean web-too-thin'),
        ("web-too-thin", "note", 'finding "web-too-thin" is of severity error, not note'),
        ("same-place", "warning", 'finding "same-place" is of severity error or note, not warning'),
        ("xyz", "note", "stonelayout findings"),
    ],
)
def test_a_finding_refuses_what_is_not_registered(code, severity, words):
    with pytest.raises(InputError) as refused:
        Finding(code, severity, "words")
    assert words in str(refused.value)


def test_no_code_stands_twice_and_each_step_has_the_gravest_first():
    assert sum(map(len, CODES_BY_STEP.values())) == len(FINDING_CODES)
    for codes in CODES_BY_STEP.values():
        order = [(SEVERITIES.index(code.severities[0]), code.name) for code in codes]
        assert order == sorted(order)
        for code in codes:
            ranks = [SEVERITIES.index(severity) for severity in code.severities]
            assert ranks == sorted(set(ranks))


@pytest.mark.parametrize("code", FINDING_CODES.values(), ids=FINDING_CODES)
def test_each_has_one_sentence_of_meaning_and_one_of_what_to_do(code):
    for words in (code.meaning, code.remedy):
        assert words[0].isupper()
        assert words.endswith(".")
        assert ". " not in words
        assert len(words) < 200


def test_figures_in_the_words_are_those_of_the_checks():
    assert RUN_WEBS == 8
    assert FINDING_CODES["tear-line"].meaning.startswith("Eight or more")
    inches = number(RING_MM2 / MM_PER_INCH**2, 2)
    assert (
        f"{RING_MM2 / 100:g} cm2 ({inches} square inch)" in FINDING_CODES["hangs-on-little"].meaning
    )
    close = f"{MATCH_MM} mm ({number(MATCH_MM / MM_PER_INCH, 3)} in)"
    assert close in FINDING_CODES["no-such-stone"].meaning
    px = MM_PER_UNIT["px"]
    pixel = f"1 px = {number(px, 3)} mm, {number(px / MM_PER_INCH, 4)} in"
    assert pixel in FINDING_CODES["size-in-px"].meaning
