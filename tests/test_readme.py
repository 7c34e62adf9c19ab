"""README and .ci/run tell a newcomer the same, and what README shows is what the program prints."""

import pathlib
import re
import shlex

import pytest

from cli.main import app, exit_code_of
from engine import errors

ROOT = pathlib.Path(__file__).parent.parent
README = (ROOT / "README.md").read_text()
CI = (ROOT / ".ci" / "run").read_text()


def test_ci_runs_what_the_readme_says():
    commands = [line for block in re.findall(r"```sh\n(.*?)```", README, re.S) for line in block.splitlines()]
    for command in commands[:3]:
        assert command in CI, command


def test_the_readme_opens_with_one_paragraph_that_states_the_job():
    paragraphs = README.split("\n\n")
    assert paragraphs[0] == "# bedjoint"
    assert not paragraphs[1].startswith(("#", "-", "|", "```"))
    assert paragraphs[2].startswith("## ")


def test_every_command_is_in_the_readme():
    names = [command.name for command in app.registered_commands] + [group.name for group in app.registered_groups]
    assert names
    for name in names:
        assert f"`bedjoint {name}" in README


def test_every_exit_code_is_in_the_readme():
    for name, code in vars(errors).items():
        if name.startswith("EXIT_"):
            assert f"| {code} |" in README


def runs_shown():
    """Every command shown with what it prints, leaving out what stands for the rest."""
    for block in re.findall(r"```console\n(.*?)```", README, re.S):
        for each in re.split(r"^\$ bedjoint ", block, flags=re.M)[1:]:
            command, shown = each.split("\n", 1)
            yield command, [part.strip("\n") for part in shown.split("[...]\n")]


@pytest.mark.parametrize(("command", "parts"), list(runs_shown()))
def test_what_the_readme_shows_is_what_is_printed(capsys, monkeypatch, command, parts):
    monkeypatch.chdir(ROOT)
    monkeypatch.delenv("COLUMNS", raising=False)
    assert exit_code_of(shlex.split(command)) in (0, 1)
    printed = capsys.readouterr().out
    at = 0
    for part in parts:
        assert part in printed[at:], part
        at = printed.index(part, at) + len(part)


def test_what_the_readme_says_of_changed_rules_stands_in_the_report():
    said = r"([0-9,]+) times: .*?notice ([0-9.]+) % \(\[the report\]\(tests/mutation/(.+?)\.md"
    count, share, version = re.search(said, README, re.DOTALL).groups()
    report = (ROOT / "tests" / "mutation" / f"{version}.md").read_text()
    assert f"- Changed rules: {count.replace(',', '')}\n" in report
    assert f", {share} % of those not proved to decide alike\n" in report
