"""Mapping files: what is wrong with one is said all at once; what is right comes back as it was written."""

import pytest

from cli.mapping_example import EXAMPLE
from engine.archive.mapping import SheetMapping, is_wall_id, mapping_text, read_mapping, wall_id_from, word_key
from engine.archive.mapping_columns import column_of, fault_of, sheet_columns
from engine.archive.mapping_dates import is_date_format, said_form, strptime_form
from engine.errors import BadInput
from engine.facts.vocabulary import facts

GOOD = """kind: archive_mapping
form: 1
columns:
  Wall thickness (cm): build.thickness_mm
  Construction: build.construction
  DPC bridged by: existing_course.bridged_by
ignored: [Client, Price]
values:
  build.construction: {Solid: solid_brick, n/k: unknown}
  existing_course.bridged_by: {all outside: [ground, render], nil: none}
date_format: '%d/%m/%Y'
decimal_comma: yes
units: {build.thickness_mm: 10}
constants: {surveyor: S3}
set_separator: ','
"""
BAD = """kind: archive_mapping
columns:
  Wall thickness: build.thickness_mm
  Thk: build.thickness_mm
  Constr: build.constructon
  Job: reference
ignored: [Price, job]
values:
  build.construction: {SB: solid_brik, sb: cavity_brick}
  build.thickness_mm: {thin: 2}
  recommended.medium: {q: {a: b}}
date_format: '%d/%m'
decimal_comma: maybe
units: {build.thickness_mm: 0, build.role: 3}
constants: {reference: A}
set_separator: and
surprise: 3
"""


def written(tmp_path, text):
    path = tmp_path / "mapping.yaml"
    path.write_text(text)
    return path


def test_a_mapping_says_what_each_header_and_word_stands_for(tmp_path):
    found = read_mapping(written(tmp_path, GOOD))
    assert found.headers[word_key("  wall THICKNESS (cm) ")] == ("build.thickness_mm",)
    assert found.words["build.construction"]["solid"] == "solid_brick"
    assert found.words["existing_course.bridged_by"]["all outside"] == ("ground", "render")
    assert found.passed_over == {"client", "price"}
    assert (found.decimal_comma, found.units["build.thickness_mm"], found.set_separator) == (True, 10, ",")


def test_a_mapping_comes_back_as_it_was_written(tmp_path):
    found = read_mapping(written(tmp_path, GOOD))
    again = read_mapping(written(tmp_path, mapping_text(found, "looked at\nby us")))
    assert again == found
    assert read_mapping(written(tmp_path, mapping_text(SheetMapping()))) == SheetMapping()


@pytest.mark.parametrize(
    ("line", "field", "said"),
    [
        (4, "columns.Thk", "stands for the same column as 'Wall thickness' (line 3)"),
        (5, "columns.Constr", "there is no such column; found 'build.constructon'; did you mean build.construction"),
        (7, "ignored[1]", "is also under columns (line 6)"),
        (9, "values.'build.construction'.SB", "is not one of the values; found 'solid_brik'"),
        (9, "values.'build.construction'.SB", "did you mean solid_brick?"),
        (9, "values.'build.construction'.sb", "is the same word as 'SB'"),
        (10, "values.'build.thickness_mm'.thin", "is out of limits; found 2; allowed: whole number from 50 to 2000 mm"),
        (11, "values.'recommended.medium'.q", "is not a word, a number or a list of words"),
        (12, "date_format", "does not give a day back"),
        (13, "decimal_comma", "allowed: yes, no"),
        (14, "units.'build.thickness_mm'", "would make every number nought"),
        (14, "units.'build.role'", "is no number and has no unit"),
        (15, "constants.reference", "is also read from the sheet (line 6)"),
        (16, "set_separator", "cannot stand between words"),
        (17, "surprise", "is not a field here"),
    ],
)
def test_every_problem_is_said_in_one_run_with_its_line(tmp_path, line, field, said):
    with pytest.raises(BadInput) as caught:
        read_mapping(written(tmp_path, BAD))
    at_place = [str(problem) for problem in caught.value.problems if (problem.line, problem.field) == (line, field)]
    assert any(said in text for text in at_place), [str(problem) for problem in caught.value.problems]


def problems_of(tmp_path, text):
    with pytest.raises(BadInput) as caught:
        read_mapping(written(tmp_path, text))
    return [(each.line, each.field, each.message, each.hint) for each in caught.value.problems]


def test_words_and_units_of_a_column_that_no_header_leads_to_are_a_problem(tmp_path):
    text = "columns: {Role: build.role}\nvalues:\n  build.role: {x: party}\n  build.voids: {x: none}\n"
    text += "units:\n  build.thickness_mm: 10\nconstants: {build.construction: flint}\n"
    message = "no header under columns leads to this column"
    assert problems_of(tmp_path, text) == [
        (4, "values.'build.voids'", message, "add build.voids: build.voids under columns"),
        (6, "units.'build.thickness_mm'", message, "add build.thickness_mm: build.thickness_mm under columns"),
    ]
    mended = text.replace("Role: build.role", "Role: build.role, build.voids: build.voids, T: build.thickness_mm")
    assert read_mapping(written(tmp_path, mended)).units == {"build.thickness_mm": 10}
    constant = "constants: {build.role: party}\nvalues: {build.role: {x: party}}\n"
    assert read_mapping(written(tmp_path, constant)).constants == {"build.role": "party"}


def test_a_misspelt_column_is_said_once(tmp_path):
    text = "columns: {R: build.rol}\nvalues: {build.role: {x: party}}\n"
    assert [(line, field) for line, field, _, _ in problems_of(tmp_path, text)] == [(1, "columns.R")]
    text = "columns: {R: {a: build.role}}\nvalues: {build.role: {x: party}}\n"
    assert [(line, field) for line, field, _, _ in problems_of(tmp_path, text)] == [(1, "columns.R")]


def test_one_header_may_feed_several_columns_each_with_its_own_words(tmp_path):
    text = "columns: {Advice: [recommended.verdict, recommended.medium]}\n"
    text += "values:\n  recommended.verdict: {cream: treat}\n  recommended.medium: {cream: cream}\n"
    found = read_mapping(written(tmp_path, text))
    assert found.headers["advice"] == ("recommended.verdict", "recommended.medium")
    assert read_mapping(written(tmp_path, mapping_text(found))) == found
    bad = "columns: {A: [recommended.verdict, recomended.medium], B: recommended.verdict, C: []}\n"
    bad += "constants: {recommended.verdict: treat}\n"
    said = {(field, message) for _, field, message, _ in problems_of(tmp_path, bad)}
    assert ("columns.A[1]", "there is no such column") in said
    assert ("columns.B", "stands for the same column as 'A' (line 1)") in said
    assert ("columns.C", "is not a column or a list of columns") in said
    assert ("constants.'recommended.verdict'", "is also read from the sheet (line 1)") in said


def test_the_example_in_the_help_is_a_mapping_with_every_key(tmp_path):
    found = read_mapping(written(tmp_path, EXAMPLE))
    assert found.model_fields_set == set(SheetMapping.model_fields) - {"kind", "form"}
    assert all(len(line) <= 78 for line in EXAMPLE.splitlines())


def test_a_wall_is_translated_to_what_may_be_an_id(tmp_path):
    text = "columns: {Elevation: wall}\nvalues: {wall: {North gable: north gable}}\n"
    with pytest.raises(BadInput, match="is no id of a wall; found 'north gable'; allowed: letters, digits, - and _"):
        read_mapping(written(tmp_path, text))
    assert wall_id_from("Côté nord / 2ème (étage)") == "cote-nord-2eme-etage"
    assert all(is_wall_id(wall_id_from(text)) for text in ("N. gable", "x" * 60, "a " * 30, "_a"))


@pytest.mark.parametrize(
    ("said", "letters", "again"),
    [
        ("dd/mm/yyyy", "%d/%m/%Y", "dd/mm/yyyy"),
        ("d.m.yyyy", "%d.%m.%Y", "dd.mm.yyyy"),
        ("YYYY-MM-DD", "%Y-%m-%d", "yyyy-mm-dd"),
        ("mm/dd/yy", "%m/%d/%y", "mm/dd/yy"),
        ("d mmm yyyy", "%d %b %Y", "dd mmm yyyy"),
        ("%d %B %Y", "%d %B %Y", "dd mmmm yyyy"),
        ("%j of %Y", "%j of %Y", "%j of %Y"),
    ],
)
def test_dates_are_said_as_offices_say_them_or_as_strptime_does(said, letters, again):
    assert strptime_form(said) == letters
    assert said_form(said) == again
    assert is_date_format(said)


def test_constants_are_of_sheets_laid_out_as_the_mapping_says():
    mapping = SheetMapping(columns={"Role": "build.role"}, constants={"surveyor": "S1", "note": "x"})
    assert mapping.constants_of({"build.role", "note"}, named=True) == {"surveyor": "S1"}
    assert mapping.constants_of({"build.role"}, named=False) == {}
    assert SheetMapping(constants={"surveyor": "S1"}).constants_of({"wall"}, named=False) == {"surveyor": "S1"}


def test_every_fact_has_its_column_and_takes_its_own_words():
    columns = sheet_columns()
    for fact in facts().values():
        if fact.kind == "rows":
            assert any(name.startswith(f"{fact.name}.1.") for name in columns)
            continue
        column = columns[fact.name]
        assert (column.kind, column.options, column.ge, column.le) == (fact.kind, fact.options, fact.ge, fact.le)
        assert all(not fault_of(column, option) for option in fact.options)
        assert fault_of(column, "no such word")


def test_numbered_columns_count_on_beyond_the_template():
    assert column_of("moisture.samples.30.mc_percent").le == column_of("moisture.samples.1.mc_percent").le == 60
    assert column_of("moisture.samples.0.mc_percent") is None
    assert column_of("moisture.samples.1.surprise") is None


@pytest.mark.parametrize(
    ("form", "good"),
    [("%d.%m.%y", True), ("%Y%m%d", True), ("%m/%Y", False), ("%Q", False), ("mm/yyyy", False), ("day", False)],
)
def test_a_way_to_write_dates_must_give_the_day_back(form, good):
    assert is_date_format(form) is good
