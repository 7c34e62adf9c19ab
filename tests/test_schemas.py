"""What each command writes as JSON fits the schema that `bedjoint schema` publishes for it."""

import json
import pathlib

import jsonschema
import pytest

from cli.main import exit_code_of

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
