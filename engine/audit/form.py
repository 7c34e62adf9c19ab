"""The form of a version: that it loads, and that its tests, rules, examples and ids say what they seem to."""

from __future__ import annotations

import pathlib

from engine.audit.findings import Finding, Looked
from engine.audit.form_conditions import condition_findings
from engine.audit.form_examples import example_findings
from engine.audit.form_loading import as_findings, files_not_read
from engine.audit.form_places import Places, looked_at
from engine.audit.form_rules import alike, stages_without_rules, unreached
from engine.audit.form_settings import NO_SETTINGS, read_settings
from engine.audit.form_versions import version_findings
from engine.audit.ids import id_findings
from engine.errors import BadRules
from engine.rulebase.load import VersionRead, read_manifests, read_version
from engine.rulebase.rules import RuleBase

_LOADING = {
    "cannot-be-read": "every file of the version can be read",
    "not-filled-in": "nothing is still to be filled in",
    "file-not-read": "every file in the folder of the version is read",
}
_TESTS = {
    "test-never-holds": "every test can be met by some value",
    "test-always-holds": "no test is met by every value",
    "tests-contradict": "no tests asked together exclude each other",
    "test-adds-nothing": "no test follows from one beside it",
    "number-without-unit": "what is compared with a number has a unit, or is said to be a pure number",
}
_EXAMPLES = {
    "example-value": "examples name variables, and values that these take",
    "example-does-not-hold": "each rule holds on its example",
    "example-not-smallest": "no rule holds on less than its example",
    "counter-example-form": "each counter-example changes one value of the example",
    "counter-example-holds": "no rule holds on a counter-example",
    "no-counter-example": "each fact of an example is changed by a counter-example",
}
_RULES = {
    "same-rule": "no rule has the condition and the conclusions of another",
    "same-title": "no rule has the title of another",
    "same-reason": "no rule has the reason of another",
    "id-reused": "no id that was withdrawn stands again",
    "id-is-another-rule": "no id means another rule than in an earlier version",
}
_REACH = {
    "stage-without-rules": "every stage has rules",
    "option-never-supported": "every option is open or supported by a rule",
    "member-never-added": "every member of a set is added by a rule",
}
_VERSIONS = {
    "version-without-changes": "every manifest says what changed and why",
    "version-misnamed": "each folder is named after the version in it",
    "version-same-day": "no two versions are in force from the same day",
    "version-order": "versions are numbered in the order in which they come into force",
}


def form_findings(
    version: str, folder: pathlib.Path | None = None, *, read: VersionRead | None = None
) -> tuple[RuleBase | None, list[Finding], list[Looked]]:
    """The rule base where it loads, and everything that is wrong with its form, all at once.

    `folder` holds the versions; `read` is the version as `read_version` gives it, where the caller has it already.
    """
    read = read or read_version(version, folder)
    places = Places(read)
    found = as_findings(read.problems, read)
    try:
        settings = read_settings(folder)
    except BadRules as error:
        found += as_findings(error.problems)
        settings = NO_SETTINGS
    found += files_not_read(read)
    for rule in read.rules:
        found += condition_findings(rule, places, settings)
        found += example_findings(rule, read.variables, places)
    found += alike(read.rules, places)
    found += id_findings(read, folder)
    known = {(each.check, each.subject) for each in found}
    found += [each for each in version_findings(folder) if (each.check, each.subject) not in known]
    looked = [
        *looked_at(_LOADING, len(read.documents)),
        *looked_at(_TESTS, sum(len(rule.tests) for rule in read.rules)),
        *looked_at(_EXAMPLES, sum(1 + len(rule.examples.fails) for rule in read.rules)),
        *looked_at(_RULES, len(read.rules)),
        *looked_at(_VERSIONS, len(read_manifests(folder)[0])),
    ]
    if read.base is not None:
        # Of a rule that could not be read it is not known what it reaches.
        found += stages_without_rules(read, places)
        found += unreached(read, places)
        reached = sum(len(choice.options) for choice in read.choices.values()) + sum(map(len, read.members.values()))
        looked += looked_at(_REACH, reached)
    return read.base, found, looked
