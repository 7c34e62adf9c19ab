"""The picture of one wall's decision: which part of its chain is shown, and under what title."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from engine.decision.assess import LIMITS
from engine.errors import BadInput, Problem
from engine.facts.intake import SurveyFile
from engine.facts.survey import Wall
from engine.inference.evaluate import Evaluation
from engine.inference.truth import Truth
from engine.reasoning.graph import Graph
from engine.reasoning.graph_chain import COLUMNS, Chain
from engine.reasoning.graph_vain import in_vain
from engine.reasoning.reason_subject import subject
from engine.rulebase.rules import RuleBase

MAIN = ("verdict", "medium")
"""The choices a picture is of where nothing else is asked for."""

_ABOUT = "--about"


def wall_graph(
    file: SurveyFile,
    wall: Wall,
    base: RuleBase,
    evaluation: Evaluation,
    as_of: dt.date,
    about: Sequence[str] = (),
    *,
    everything: bool = False,
    changed: Sequence[str] = (),
) -> Graph:
    """What brings one wall's decision: facts, readings, the rules that hold, choices, and what the rules add.

    Known facts each of which alone keeps a rule from changing it are counted; with `everything` they are drawn. `about`
    names choices, CHOICE=OPTION, sets, SET=MEMBER, members or rules; without any it is the verdict and the medium.
    `changed` says which facts are not as surveyed.

    Raises:
        BadInput: nothing of that name, or what is not found at this wall.
    """
    chain = Chain(base, evaluation, everything)
    names = [*about] or [name for name in MAIN if name in base.choices]
    problems: list[Problem] = []
    titles = [title for name in names for title in _tried(chain, name, problems)]
    if problems:
        raise BadInput(problems)
    if not about:
        chain.works_of_rules_shown()
    survey = file.survey.property
    said = f"What brings it, by rules {base.manifest.version} as of {as_of}, in {file.name}.{_in_vain(chain)}"
    not_surveyed = f" NOT AS SURVEYED. Facts were changed: {'; '.join(changed)}." if changed else ""
    return Graph(
        title=f"Wall {wall.id}, survey {survey.reference} of {survey.survey_date}: {', '.join(dict.fromkeys(titles))}",
        says=said + not_surveyed,
        columns=COLUMNS,
        nodes=tuple(chain.nodes.values()),
        edges=tuple(chain.edges.values()),
        notes=(LIMITS,),
    )


def _in_vain(chain: Chain) -> str:
    """Draw what was looked for and not found, or say how much of it is not drawn."""
    choices = [node.id.partition(".")[2] for node in chain.nodes.values() if node.kind == "choice"]
    found = in_vain(chain.base, chain.evaluation, choices)
    count = len({each.fact for each in found})
    if not count:
        return ""
    if chain.everything:
        chain.would_change(found)
        return (
            " A rule that does not hold is drawn with the one known fact that alone keeps it from changing a decision."
        )
    facts = "1 known fact that alone keeps" if count == 1 else f"{count} known facts each of which alone keeps"
    return f" Looked for, not found, and not drawn: {facts} a rule from changing a decision here; --all draws them."


def _tried(chain: Chain, name: str, problems: list[Problem]) -> list[str]:
    try:
        return _grown(chain, name)
    except BadInput as error:
        problems += error.problems
        return []


def _grown(chain: Chain, name: str) -> list[str]:
    """Grow the chain from what a name stands for. Returns what it is called."""
    base, evaluation = chain.base, chain.evaluation
    if name in base.sets and name not in base.choices:
        if not chain.members(name):
            raise _not_found(name, f"nothing is in {name} at this wall")
        return [base.sets[name].title]
    asked = subject(name, base, _ABOUT)
    if asked.kind == "rule":
        rule = base.by_id[asked.id]
        if rule.id not in evaluation.fired and evaluation.ever[rule.id] is not Truth.UNKNOWN:
            raise _not_found(name, "does not hold at this wall, whatever is still unknown")
        chain.rule(rule)
        for kind, concluded in (("supports", rule.supports), ("rules_out", rule.rules_out)):
            for choice, _ in concluded:
                chain.join(rule, chain.choice(choice), "supports" if kind == "supports" else "rules_out")
        return [f"rule {rule.id}"]
    if asked.kind == "member":
        held = evaluation.sets[asked.of]
        if asked.id not in held.now | held.may:
            raise _not_found(name, "is not found at this wall, whatever is still unknown")
        chain.member(asked.of, asked.id)
        return [base.members[asked.of][asked.id].says.rstrip(".")]
    chain.choice(asked.of, asked.id if asked.kind == "option" else "")
    title = base.choices[asked.of].title
    return [f"{title}, {asked.id.replace('_', ' ')}" if asked.kind == "option" else title]


def _not_found(name: str, message: str) -> BadInput:
    return BadInput([Problem("", 0, 0, _ABOUT, message, name, "what `bedjoint assess` shows of this wall")])
