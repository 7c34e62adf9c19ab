"""What a check of past jobs has to find at one wall, worked out the plain way, from the evaluator's answer alone.

It shares nothing with `engine/archive`: what that says of a wall is held against this.
"""

from __future__ import annotations

import functools
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from engine.facts.document import read_document
from engine.inference.evaluate import Evaluation
from engine.rulebase.conditions import UNDECIDED
from engine.rulebase.load import rules_folder
from engine.rulebase.rules import Rule, RuleBase

AGREE, DIFFERS, OPEN, NOT_RECORDED = "agree", "differs", "not_decidable", "not_recorded"
_WEAKEST_FIRST = ("consider", "should", "must")
_WEAKEST = _WEAKEST_FIRST[0]


@dataclass(frozen=True, slots=True)
class Found:
    """What is found of one option against the decision."""

    finding: str
    grade: str | None = None
    against: tuple[str, ...] = ()
    why: str = ""
    """How it differs: `ruled_out`, `unsupported` or `later`; "" where it does not."""

    def data(self) -> dict[str, Any]:
        """As the ledger has it."""
        return {"finding": self.finding, "grade": self.grade, "against": list(self.against)}


@dataclass(frozen=True, slots=True)
class FoundInSet:
    """What is found of the members recommended of one set."""

    left_out: tuple[str, ...] = ()
    grade: str | None = None
    beyond: tuple[str, ...] = ()

    def data(self) -> dict[str, Any]:
        """As the ledger has it."""
        return {"left_out": list(self.left_out), "left_out_grade": self.grade, "beyond": list(self.beyond)}


def strongest(rules: Iterable[Rule]) -> str | None:
    """The strongest word of rules, None of none."""
    return max((rule.word for rule in rules), key=_WEAKEST_FIRST.index, default=None)


def _fired(base: RuleBase, evaluation: Evaluation) -> list[Rule]:
    return [rule for rule in base.rules if rule.id in evaluation.fired]


def _supporters(base: RuleBase, evaluation: Evaluation, choice: str, option: str) -> list[Rule]:
    return [rule for rule in _fired(base, evaluation) if (choice, option) in rule.supports]


def _opponents(base: RuleBase, evaluation: Evaluation, choice: str, option: str) -> list[Rule]:
    return [rule for rule in _fired(base, evaluation) if (choice, option) in rule.rules_out]


def _supported(base: RuleBase, evaluation: Evaluation, choice: str, option: str) -> bool:
    is_open = any(each.open for each in base.choices[choice].options if each.id == option)
    return is_open or bool(_supporters(base, evaluation, choice, option))


def stands(base: RuleBase, evaluation: Evaluation, choice: str, option: str) -> bool:
    """Whether an option is supported and not ruled out by what is known."""
    opposed = _opponents(base, evaluation, choice, option)
    return _supported(base, evaluation, choice, option) and not opposed


def found_of(base: RuleBase, evaluation: Evaluation, choice: str, option: str | None) -> Found:
    """An option recommended or installed against what was decided; None where none is recorded."""
    outcome = evaluation.outcomes[choice]
    if option is None:
        return Found(NOT_RECORDED)
    if option == outcome.option:
        return Found(AGREE)
    if outcome.option == UNDECIDED or option in outcome.possible:
        return Found(OPEN)
    opponents = _opponents(base, evaluation, choice, option)
    if opponents:
        return Found(DIFFERS, strongest(opponents), tuple(rule.id for rule in opponents), "ruled_out")
    bringing = _supporters(base, evaluation, choice, outcome.option)
    ids = tuple(rule.id for rule in bringing)
    if not _supported(base, evaluation, choice, option):
        return Found(DIFFERS, strongest(bringing) or _WEAKEST, ids, "unsupported")
    return Found(DIFFERS, _WEAKEST, ids, "later")


def found_in_set(base: RuleBase, evaluation: Evaluation, name: str, members: Collection[str] | None) -> FoundInSet:
    """The members recommended against those decided; None where none are recorded."""
    if members is None:
        return FoundInSet()
    held = evaluation.sets[name]
    left_out = sorted((held.now & held.sure) - set(members))
    adding = [r for r in _fired(base, evaluation) if any((name, member) in r.adds for member in left_out)]
    beyond = sorted(set(members) - held.now - held.sure - held.may)
    return FoundInSet(tuple(left_out), strongest(adding), tuple(beyond))


@functools.cache
def _cost_classes() -> tuple[str, tuple[tuple[str, ...], ...]]:
    data = read_document(rules_folder() / "relative_cost.yaml").data
    return data["choice"], tuple(tuple(each["options"]) for each in data["classes"])


def cheaper_standing(base: RuleBase, evaluation: Evaluation, recommended: Mapping[str, str]) -> tuple[str, ...]:
    """Cheaper options that stand as well as the one recommended; none where that does not stand itself."""
    choice, classes = _cost_classes()
    option = recommended.get(choice)
    verdict = recommended.get("verdict")
    decided = evaluation.outcomes["verdict"].option
    if option is None or not stands(base, evaluation, choice, option) or (verdict or decided) != decided:
        return ()
    rank = next((at for at, each in enumerate(classes) if option in each), 0)
    return tuple(each for several in classes[:rank] for each in several if stands(base, evaluation, choice, each))


def expected(
    base: RuleBase,
    evaluation: Evaluation,
    recommended: Mapping[str, str],
    members: Mapping[str, Collection[str] | None],
    installed: str | None,
) -> dict[str, Any]:
    """Everything a check has to say of a wall beyond `agree` and `not_recorded`, as plain data."""
    choices = {name: found_of(base, evaluation, name, recommended.get(name)) for name in base.choices}
    sets = {name: found_in_set(base, evaluation, name, members.get(name)) for name in base.sets}
    of_installed = found_of(base, evaluation, "medium", installed)
    return {
        "rules": base.manifest.version,
        "choices": {n: f.data() for n, f in choices.items() if f.finding not in (AGREE, NOT_RECORDED)},
        "sets": {n: f.data() for n, f in sets.items() if f.left_out or f.beyond},
        "installed": None if of_installed.finding in (AGREE, NOT_RECORDED) else of_installed.data(),
        "cheaper": list(cheaper_standing(base, evaluation, recommended)),
    }
