"""Small rule bases put together in memory, for tests that look at every case."""

import datetime as dt
import hashlib
import json

from engine.facts.vocabulary import Variable
from engine.rulebase.conditions import ConditionParser
from engine.rulebase.load import choice_variable
from engine.rulebase.model import Choice, Manifest, Member, RawRule, SetOfFindings
from engine.rulebase.rules import RuleBase, compiled


def make_base(rules, choices=(), sets=None, variables=()):
    """A rule base in memory. A set is given as its closing stage and its members."""
    sets = sets or {}
    choice_models = {each["id"]: Choice.model_validate(each) for each in choices}
    known_variables = {each.name: each for each in variables}
    for choice in choice_models.values():
        known_variables[f"decided.{choice.id}"] = choice_variable(choice)
    for name, (_, members) in sets.items():
        known_variables[f"found.{name}"] = Variable(f"found.{name}", "set", tuple(members))

    def report(path, message, found, allowed, hint):
        raise AssertionError(f"{path}: {message}: {found} ({allowed}) {hint}")

    parser = ConditionParser(known_variables, report)
    made = []
    for index, rule in enumerate(rules):
        raw = {
            "id": f"{chr(65 + index // 999)}-{index % 999:03d}",
            "title": "a rule",
            "stage": "evidence",
            "because": "for a test",
            "cites": [{"source": "none", "says": "nothing"}],
            "basis": "judgement",
            "strength": "strong",
            "certainty": "high",
            "examples": {"holds": {}, "fails": [{}]},
            **rule,
        }
        made.append(compiled(RawRule.model_validate(raw), parser.parse(raw["when"], ()), f"test:{index}"))
    text = json.dumps([rules, list(choices), sets, [str(each) for each in variables]], sort_keys=True, default=str)
    return RuleBase(
        Manifest.model_construct(version="2026.1", in_force_from=dt.date(2026, 1, 1)),
        choice_models,
        {n: SetOfFindings.model_validate({"id": n, "closes": s, "title": n * 3}) for n, (s, _) in sets.items()},
        {n: {m: Member.model_construct(id=m) for m in members} for n, (_, members) in sets.items()},
        {},
        tuple(sorted(made, key=lambda rule: rule.id)),
        known_variables,
        hashlib.sha256(text.encode()).hexdigest(),
    )


def choice(name, stage, *options):
    """A choice; an option written with a leading `+` is open."""
    return {
        "id": name,
        "stage": stage,
        "title": f"which {name}",
        "order_because": "as written",
        "options": [{"id": o.lstrip("+"), "open": o.startswith("+"), "says": f"it is {o}"} for o in options],
    }
