"""The table of outside checks: it is whole, what it names is there and is run, and its page says the same."""

from __future__ import annotations

import ast
import functools
import subprocess
import sys

import pytest
from outside_checks import HERE, TABLE, Check, load, markdown
from pydantic import ValidationError

from engine.rulebase.load import load_rule_base, versions

ROOT = HERE.parent
CHECKS = load()
EACH = pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.id)
GROUPS = {
    "saturation_pressure",
    "dew_point_table",
    "psychrometrics_library",
    "salt_humidity",
    "salt_classes",
    "sharp_front",
    "sharp_front_integration",
    "kendall",
    "dose",
    "vents",
    "a8",
    "drying",
    "party_wall",
}
"""Computations that are never without an outside check."""


@functools.cache
def functions_in(file: str) -> dict[str, ast.FunctionDef]:
    tree = ast.parse((ROOT / file).read_text(encoding="utf-8"))
    return {node.name: node for node in tree.body if isinstance(node, ast.FunctionDef)}


@pytest.fixture(scope="module")
def collected() -> set[str]:
    """What pytest collects in the files named, without the parameters."""
    files = sorted({check.file for check in CHECKS})
    command = [sys.executable, "-m", "pytest", "--collect-only", "-q", "-o", "addopts=", "-p", "no:cacheprovider"]
    done = subprocess.run([*command, *files], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    return {line.partition("[")[0] for line in done.stdout.splitlines() if "::" in line}


def test_the_page_is_written_from_the_table() -> None:
    assert TABLE.read_text(encoding="utf-8") == markdown(CHECKS), "write it anew: python tests/outside_checks.py"


def test_ids_and_tests_are_named_once() -> None:
    for named in ([check.id for check in CHECKS], [check.test for check in CHECKS]):
        assert sorted(named) == sorted(set(named))


@EACH
def test_the_test_exists_and_asserts(check: Check) -> None:
    found = functions_in(check.file).get(check.function)
    assert found is not None, check.test
    assert any(isinstance(node, ast.Assert) or _fails(node) for node in ast.walk(found))


@EACH
def test_the_test_is_collected(check: Check, collected: set[str]) -> None:
    assert check.test in collected


@EACH
def test_the_test_is_neither_skipped_nor_let_fail(check: Check) -> None:
    written = " ".join(ast.unparse(each) for each in functions_in(check.file)[check.function].decorator_list)
    assert "skip" not in written
    assert "xfail" not in written


@EACH
def test_the_source_is_known_and_was_not_seen_better_than_it_says(check: Check) -> None:
    if check.source_id is None:
        return
    source = load_rule_base(versions()[-1].version).sources[check.source_id]
    if source.seen == "from_memory":
        assert check.seen != "seen"


def test_every_kind_of_computation_has_an_outside_check_that_holds() -> None:
    assert {check.group for check in CHECKS if check.result == "holds"} >= GROUPS


def test_what_does_not_hold_is_said() -> None:
    (misprint,) = (check for check in CHECKS if check.id == "dew_point_misprint")
    assert misprint.result == "does_not_hold"
    assert "30 °C and 65 %, printed 23.7" in misprint.what
    page = TABLE.read_text(encoding="utf-8")
    assert page.count("**does not hold**") == sum(check.result == "does_not_hold" for check in CHECKS)


@pytest.mark.parametrize(
    "change",
    [
        {"result": "does_not_hold"},
        {"because": "no reason is needed"},
        {"seen": "heard"},
        {"test": "tests/test_tables.py"},
        {"tolerance": ""},
        {"remark": "x"},
    ],
)
def test_an_entry_that_says_too_little_or_too_much_is_refused(change: dict[str, str]) -> None:
    holds = next(check for check in CHECKS if check.result == "holds")
    with pytest.raises(ValidationError):
        Check.model_validate({**holds.model_dump(), **change})


def _fails(node: ast.AST) -> bool:
    return isinstance(node, ast.Call) and ast.unparse(node.func) == "pytest.fail"
