"""What each command writes as JSON fits the schema that `bedjoint schema` publishes for it."""

import json
import pathlib

import jsonschema
import pytest
import yaml

from cli.main import exit_code_of
from cli.mapping_example import EXAMPLE

DEMO = pathlib.Path(__file__).parent.parent / "scenarios_demo"
BRICK, HALF = str(DEMO / "nine_inch_brick.yaml"), str(DEMO / "half_the_facts.yaml")


@pytest.mark.parametrize(
    ("of", "arguments"),
    [
        ("assessment", ["assess", HALF]),
        ("schedule", ["schedule", BRICK]),
        ("why", ["why", HALF, "--about", "medium"]),
        ("why-not", ["why-not", HALF, "medium=rods"]),
        ("change", ["change", BRICK, "--to", "medium=rods"]),
        ("ask", ["ask", HALF, "--most", "1"]),
        ("compare", ["compare", BRICK, HALF]),
        ("explain", ["explain", "M-001"]),
    ],
)
def test_the_output_fits_the_published_schema(capsys, of, arguments):
    assert exit_code_of(["schema", "--of", of]) == 0
    schema = json.loads(capsys.readouterr().out)
    jsonschema.Draft202012Validator.check_schema(schema)
    assert exit_code_of([*arguments, "--format", "json"]) in (0, 1)
    said = json.loads(capsys.readouterr().out)
    jsonschema.validate(said, schema)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate({**said, "not_in_it": 1}, schema)


def test_the_schema_of_a_mapping_file_takes_what_the_reader_takes(capsys):
    assert exit_code_of(["schema", "--of", "archive-mapping"]) == 0
    schema = json.loads(capsys.readouterr().out)
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.validate(yaml.safe_load(EXAMPLE), schema)
    jsonschema.validate(yaml.safe_load((DEMO / "archive" / "mapping.yaml").read_text()), schema)
    for wrong in ({"columns": {"A": []}}, {"columns": {"A": 3}}, {"surprise": 1}, {"units": {"wall": "x"}}):
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate(wrong, schema)
