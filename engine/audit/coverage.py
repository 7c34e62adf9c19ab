"""What the tests of a version reach: its rules, the tests in their conditions, sources, options and members."""

from __future__ import annotations

from collections.abc import Iterator

from engine.audit.asking import spot_of
from engine.audit.fates import Bench, bench_of
from engine.audit.findings import Finding, Level, Looked
from engine.audit.independence import Cases, independence
from engine.audit.vectors import Placed, Vectors
from engine.inference.truth import Truth
from engine.rulebase.rules import Rule, RuleBase

_SHOWN_AT_ONCE = 3
"""How many tests of one rule are named in a finding."""
Made = tuple[list[Finding], Looked]


def coverage(base: RuleBase, vectors: Vectors) -> tuple[list[Finding], list[Looked]]:
    """What no vector reaches, and how much they do.

    A rule is covered when it holds on a vector and is false on another. Where no vector has it hold, that is an error
    unless a recorded decision does: then somebody would still see it change. Each test of a condition is covered when
    vectors and the rule's own examples show that it matters by itself (`engine.audit.independence`). Options, members
    and sources are warnings: each is reached through a rule, and a rule that never holds is the error.
    """
    bench = bench_of(base, vectors)
    made = [_failing(bench, vectors)] if vectors.folder is not None else []
    if vectors.folder is not None:
        made += [_holding(bench), _false(bench), _outcomes(bench), _sources(bench)]
    made.append(_tests(bench, vectors))
    return [finding for found, _ in made for finding in found], [looked for _, looked in made]


def _finding(check: str, level: Level, subject: str, says: str, rule: Rule | None = None) -> Finding:
    return Finding(
        check=check,
        group="tests",
        level=level,
        subject=subject,
        says=says,
        rules=(rule.id,) if rule else (),
        at=spot_of(rule) if rule else None,
    )


def _looked(check: str, says: str, count: int, unsettled: tuple[str, ...] = ()) -> Looked:
    return Looked(check=check, group="tests", says=says, looked_at=count, unsettled=unsettled)


def _failing(bench: Bench, vectors: Vectors) -> Made:
    found: list[Finding] = []
    later = 0
    for test, why in (*vectors.left_out, *bench.failing):
        if isinstance(test, Placed) and test.later:
            later += 1
        elif isinstance(test, Placed):
            says = f"{test.vector.id} is not borne out: {why}."
            finding = _finding("vector-fails", "error", test.vector.id, says)
            found.append(finding.model_copy(update={"at": test.at}))
        else:
            says = f"{test.id}, recorded as this version decided it, comes out otherwise: {why}."
            found.append(_finding("recorded-flips", "error", test.id, says))
    says = "every vector and every recorded decision is borne out"
    if later:
        says += f"; {later} vectors of later versions that say otherwise, or name what is not in this one, are left out"
    count = len(bench.vectors) + len(bench.recorded) + len(bench.failing) + len(vectors.left_out) - later
    return found, _looked("vector-fails", says, count)


def _holding(bench: Bench) -> Made:
    in_vectors = {rule for _, case in bench.vectors for rule in case.fired}
    recorded = {rule for case in bench.recorded for rule in case.fired}
    found = []
    for rule in bench.base.rules:
        if rule.id not in in_vectors:
            level: Level = "warning" if rule.id in recorded else "error"
            also = "; only a recorded decision has it hold" if rule.id in recorded else ""
            says = f"{rule.id} ({rule.title}) holds on no vector{also}."
            found.append(_finding("rule-not-reached", level, rule.id, says, rule))
    says = f"{len(bench.base.rules) - len(found)} of {len(bench.base.rules)} rules hold on some vector"
    return found, _looked("rule-not-reached", says, len(bench.base.rules))


def _false(bench: Bench) -> Made:
    found = []
    for rule in bench.base.rules:
        if not any(case.view.truth(rule.when) is Truth.FALSE for _, case in bench.vectors):
            says = f"{rule.id} ({rule.title}) is false on no vector: none shows where it stops."
            found.append(_finding("rule-never-false", "warning", rule.id, says, rule))
    says = f"{len(bench.base.rules) - len(found)} of {len(bench.base.rules)} rules are false on some vector"
    return found, _looked("rule-never-false", says, len(bench.base.rules))


def _outcomes(bench: Bench) -> Made:
    base = bench.base
    reached = {f"{choice}={option}" for _, case in bench.vectors for choice, option in case.decided.items()}
    reached |= {f"{name}={member}" for _, case in bench.vectors for name, held in case.found.items() for member in held}
    options = [f"{choice.id}={option.id}" for choice in base.choices.values() for option in choice.options]
    members = [f"{name}={member}" for name, several in base.members.items() for member in several]
    found = [
        _finding("outcome-not-reached", "warning", each, f"No vector comes to {each}.")
        for each in (*options, *members)
        if each not in reached
    ]
    says = (
        f"{sum(each in reached for each in options)} of {len(options)} options and "
        f"{sum(each in reached for each in members)} of {len(members)} members are reached by some vector"
    )
    return found, _looked("outcome-not-reached", says, len(options) + len(members))


def _sources(bench: Bench) -> Made:
    fired = {rule for _, case in bench.vectors for rule in case.fired}
    reached = {cite.source for rule in bench.base.rules if rule.id in fired for cite in rule.cites}
    cited = [source for source in bench.base.sources if any(source in _cited(rule) for rule in bench.base.rules)]
    found = [
        _finding("source-not-reached", "warning", each, f"No vector has a rule hold that cites {each}.")
        for each in cited
        if each not in reached
    ]
    says = f"{len(cited) - len(found)} of {len(cited)} cited sources stand behind a rule that holds on some vector"
    return found, _looked("source-not-reached", says, len(cited))


def _cited(rule: Rule) -> set[str]:
    return {cite.source for cite in rule.cites}


def _tests(bench: Bench, vectors: Vectors) -> Made:
    counts = {"unique": 0, "masking": 0, "recorded": 0, "not": 0}
    found: list[Finding] = []
    on_vectors = Cases(case.view for _, case in bench.vectors)
    on_recorded = Cases(case.view for case in bench.recorded)
    for rule in bench.base.rules:
        examples = Cases(each.view for each in bench.examples[rule.id])
        shown = independence(rule.when, on_vectors, examples)
        missing = [index for index, how in enumerate(shown) if how is None]
        for how in shown:
            if how is not None:
                counts[how] += 1
        if missing and bench.recorded:
            also = independence(rule.when, on_vectors, examples, on_recorded)
            counts["recorded"] += sum(also[index] is not None for index in missing)
            missing = [index for index in missing if also[index] is None]
        counts["not"] += len(missing)
        if missing:
            named = list(_named(rule, missing))
            says = f"Of the tests in {rule.id} no test shows that these matter by themselves: {'; '.join(named)}."
            found.append(_finding("test-not-shown", "warning", rule.id, says, rule))
    total = sum(counts.values())
    by = "vectors and examples" if vectors.folder is not None else "the rules' own examples (there are no vectors)"
    says = (
        f"each test of a condition matters by itself (MC/DC): of {total}, {by} show {counts['unique']} by unique cause "
        f"and {counts['masking']} by masking"
    )
    if bench.recorded:
        says += f", only recorded decisions {counts['recorded']}"
    return found, _looked("test-not-shown", f"{says}; {counts['not']} are not shown", total)


def _named(rule: Rule, indexes: list[int]) -> Iterator[str]:
    words = list(dict.fromkeys(rule.tests[index].in_words() for index in indexes))
    yield from (_short(each) for each in words[:_SHOWN_AT_ONCE])
    if len(words) > _SHOWN_AT_ONCE:
        yield f"and {len(words) - _SHOWN_AT_ONCE} more"


def _short(words: str, most: int = 90) -> str:
    return words if len(words) <= most else f"{words[: most - 1].rstrip()}…"
