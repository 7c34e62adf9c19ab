"""README and .ci/run tell a newcomer the same, and what README shows is what the program prints."""

import pathlib
import re

from cli.main import app
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


def test_the_run_shown_is_what_is_printed(capsys, monkeypatch):
    from cli.main import exit_code_of

    monkeypatch.chdir(ROOT)
    command, shown = re.search(r"```console\n\$ bedjoint (.*?)\n(.*?)```", README, re.S).groups()
    exit_code_of(command.split())
    printed = capsys.readouterr().out
    for part in shown.split("[...]\n"):
        assert part.strip("\n") in printed
