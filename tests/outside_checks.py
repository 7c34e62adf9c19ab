"""The table of checks against what is outside the project: reads outside_checks.yaml, writes OUTSIDE_CHECKS.md.

`python tests/outside_checks.py` writes it anew.
"""

from __future__ import annotations

import pathlib
from typing import Annotated, Literal

import yaml
from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, model_validator

HERE = pathlib.Path(__file__).parent
DATA = HERE / "outside_checks.yaml"
TABLE = HERE / "OUTSIDE_CHECKS.md"

HEAD = """# Outside checks

Written by `python tests/outside_checks.py` from `outside_checks.yaml`; a change belongs there.

What the computations are checked against that is not this project: published figures, independent libraries, other ways
of reckoning. *Seen*: the text was seen. *Secondhand*: as another page reports it. *From memory*: recalled, to be
verified against the text. *Computed*: reckoned by hand, by a library or by another method. *Constructed*: made up, the
outcome following from the definitions. *Holds* is asserted by the suite, by the test named.
"""
COLUMNS = ("What", "Formula", "Source", "Seen or from memory", "Tolerance", "Result", "Test")
WORDS = {"from_memory": "from memory"}

Text = Annotated[str, Field(min_length=1)]


class Check(BaseModel):
    """One check: what is computed, by which source, how closely, and the test that holds it."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)

    id: Annotated[str, Field(pattern=r"^[a-z0-9_]+$")]
    group: Annotated[str, Field(pattern=r"^[a-z0-9_]+$")]
    what: Text
    formula: Text
    source: Text
    published: Text
    seen: Literal["seen", "secondhand", "from_memory", "computed", "constructed"]
    tolerance: Text
    test: Annotated[str, Field(pattern=r"^tests/[a-z0-9_/]+\.py::test_[a-z0-9_]+$")]
    result: Literal["holds", "does_not_hold"]
    because: Text | None = None

    @model_validator(mode="after")
    def _says_why(self) -> Check:
        if (self.result == "does_not_hold") != (self.because is not None):
            raise ValueError("a check that does not hold says why, and no other does")
        return self

    @property
    def source_id(self) -> str | None:
        """The id of the source in the rule base; `None` where it is given in words only."""
        return None if self.source == "none" else self.source

    @property
    def file(self) -> str:
        """The test's file, from the top of the project."""
        return self.test.partition("::")[0]

    @property
    def function(self) -> str:
        """The test's name."""
        return self.test.partition("::")[2]


def load() -> tuple[Check, ...]:
    """The checks in the order of the file."""
    return TypeAdapter(tuple[Check, ...]).validate_python(tuple(yaml.safe_load(DATA.read_text(encoding="utf-8"))))


def markdown(checks: tuple[Check, ...]) -> str:
    """The whole page."""
    lines = [HEAD, _row(COLUMNS), _row(("---",) * len(COLUMNS))]
    for check in checks:
        source = check.published if check.source_id is None else f"{check.published} (`{check.source_id}`)"
        result = "holds" if check.because is None else f"**does not hold**: {check.because}"
        seen = WORDS.get(check.seen, check.seen)
        lines.append(_row((check.what, check.formula, source, seen, check.tolerance, result, f"`{check.test}`")))
    return "\n".join(lines) + "\n"


def _row(cells: tuple[str, ...]) -> str:
    return "| " + " | ".join(cell.strip().replace("|", "\\|") for cell in cells) + " |"


if __name__ == "__main__":
    TABLE.write_text(markdown(load()), encoding="utf-8")
