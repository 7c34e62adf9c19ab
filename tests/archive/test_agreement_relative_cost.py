"""Which medium costs more than which: the file, and what is refused in it."""

import shutil

import pytest

from engine.archive.relative_cost import FILE, relative_cost
from engine.errors import BadRules
from engine.rulebase.load import load_rule_base, rules_folder, versions


def test_every_medium_of_every_version_is_placed():
    cost = relative_cost()
    wanted = {
        option.id for manifest in versions() for option in load_rule_base(manifest.version).choices[cost.choice].options
    }
    assert set(cost.ranks) == wanted
    assert cost.basis == "common practice, no source"


def test_what_is_cheaper_comes_cheapest_first_and_leaves_out_what_cannot_be_ordered():
    cost = relative_cost()
    assert cost.cheaper_than("physical")[:2] == ("no_medium", "cream")
    assert "aqueous_liquid" not in cost.cheaper_than("rods")
    assert "rods" not in cost.cheaper_than("aqueous_liquid")
    assert cost.cheaper_than("no_medium") == ()
    assert cost.cheaper_than("of_another_version") == ()


@pytest.fixture
def altered(tmp_path):
    """The file with one text replaced, read beside the versions there are."""

    def read(old, new):
        folder = tmp_path / "altered"
        shutil.copytree(rules_folder(), folder)
        text = (folder / FILE).read_text()
        assert old in text
        (folder / FILE).write_text(text.replace(old, new, 1))
        with pytest.raises(BadRules) as caught:
            relative_cost(folder)
        return caught.value.problems

    return read


def test_what_is_missing_misspelt_or_placed_twice_is_said_at_once(altered):
    problems = altered("options: [mortar]", "options: [morter, cream]")
    assert [(each.message.split(" of ")[0], each.found) for each in problems] == [
        ("an option", "mortar"),
        ("no version has this option", "morter"),
        ("is placed twice", "cream"),
    ]
    assert problems[1].hint == "did you mean mortar?"
    assert all(each.line > 0 for each in problems)


def test_a_choice_that_no_version_has_is_refused(altered):
    (problem,) = altered("choice: medium", "choice: mediun")
    assert problem.hint == "did you mean medium?"


def test_another_basis_or_a_missing_reason_is_refused(altered):
    problems = altered("basis: common practice, no source", "basis: prices of the day")
    assert [each.field for each in problems] == ["basis"]
