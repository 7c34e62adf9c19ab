"""Copies of the rules into which faults are put, for the tests of the checks."""

import pathlib
import re
import shutil

from engine.rulebase.load import rules_folder

FIRST = "2026.1"
"""The first version: in force and sealed, so that what stands in it stays as it is."""

RULE = """
- id: {id}
  title: {title}
  stage: {stage}
  when:
{when}
  {concludes}
  because: {because}
  cites:
    - {{source: {source}, says: what it says}}
  basis: {basis}
  strength: strong
  certainty: high
{more}  examples:
    holds: {holds}
    fails: {fails}
"""


def rule_text(id, when, **other):
    """A rule as YAML; `when` is the text of its condition, written from the first column."""
    title = other.pop("title", f"Rule {id} for a test")
    given = {
        "title": title,
        "stage": "works",
        "concludes": "adds: {works: [let_dry]}",
        "because": f"The reason of rule {id}.",
        "source": "common_practice",
        "basis": "common_practice",
        "more": "",
        "holds": "{finishes.plaster: lime}",
        "fails": "[{finishes.plaster: none}]",
        **other,
    }
    indented = "\n".join(f"    {line}" for line in when.strip("\n").splitlines())
    return RULE.format(id=id, when=indented, **given)


class Rules:
    """A folder with a copy of the first version, which can be changed."""

    def __init__(self, folder: pathlib.Path, version: str = FIRST):
        self.folder = folder
        self.version = version
        folder.mkdir(parents=True, exist_ok=True)
        shutil.copy(rules_folder() / "checks.yaml", folder / "checks.yaml")
        recorded = (rules_folder() / "digests.yaml").read_text()
        of_the_first = re.match(r"(?s).*?\n- version: '2026\.1'\n(?:  [^\n]*\n)+", recorded)
        (folder / "digests.yaml").write_text(of_the_first[0])
        shutil.copytree(rules_folder() / FIRST, folder / FIRST)
        if version != FIRST:
            self.add_version(version, "2026-01-01", FIRST)
            shutil.rmtree(folder / FIRST)

    def add_version(self, version, in_force_from, of=FIRST):
        """Another version, a copy of one that is there."""
        shutil.copytree(self.folder / of, self.folder / version)
        path = self.path("manifest.yaml", version)
        text = re.sub(r"(?m)^version: .*$", f"version: '{version}'", path.read_text())
        path.write_text(re.sub(r"(?m)^in_force_from: .*$", f"in_force_from: '{in_force_from}'", text))

    def path(self, file, version=None):
        return self.folder / (version or self.version) / file

    def edit(self, file, old, new, version=None):
        """Put `new` in the place of `old`, which must stand there once."""
        path = self.path(file, version)
        text = path.read_text()
        assert text.count(old) == 1, (file, old, text.count(old))
        path.write_text(text.replace(old, new))

    def edit_rule(self, file, id, old, new, version=None):
        """The same within one rule or row."""
        block = self.block(file, id, version)
        assert block.count(old) == 1, (id, old, block.count(old))
        self.edit(file, block, block.replace(old, new), version)

    def append(self, file, text, version=None):
        path = self.path(file, version)
        path.write_text(path.read_text().rstrip("\n") + "\n" + text)

    def block(self, file, id, version=None):
        """The text of one rule or row."""
        text = self.path(file, version).read_text()
        start = re.search(rf"(?m)^- id: {re.escape(id)}$", text).start()
        after = re.search(r"(?m)^(- id: |# )", text[start + 1 :])
        return text[start : start + 1 + after.start()] if after else text[start:]

    def place(self, file, id, marker, version=None):
        """Line and column, from 1, of a text that stands once in one rule or row."""
        text = self.path(file, version).read_text()
        block = self.block(file, id, version)
        assert block.count(marker) == 1, (id, marker, block.count(marker))
        at = text.index(block) + block.index(marker)
        return text.count("\n", 0, at) + 1, at - text.rfind("\n", 0, at)
