"""The tree of reasons: from a conclusion over rules and their conditions down to facts and readings."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from typing import Literal

from engine.decision.assess import heading, rule_cited, wall_status
from engine.decision.chain import WORDS, strength
from engine.decision.grounds import now_view
from engine.decision.open_questions import what_matters
from engine.facts.intake import SurveyFile
from engine.facts.survey import Wall
from engine.facts.vocabulary import facts
from engine.inference.evaluate import Evaluation
from engine.readings.vocabulary import READINGS
from engine.reasoning.reason_model import (
    Below,
    ChoiceReason,
    Conclusion,
    ConditionReason,
    CutHere,
    GroupReason,
    MemberReason,
    Missing,
    OptionBefore,
    OptionReason,
    ReadingReason,
    Reasons,
    RuleAbsent,
    RuleHead,
    RuleReason,
    SeenAbove,
    SetReason,
    TestReason,
    WallReasons,
)
from engine.reasoning.reason_subject import Subject
from engine.reasoning.reason_words import met, needs, the_variable, word_of
from engine.rulebase.conditions import UNDECIDED, All, Condition, Not, Test, tests_in
from engine.rulebase.rules import Rule, RuleBase


def reasons(
    file: SurveyFile,
    base: RuleBase,
    as_of: dt.date,
    judged: Sequence[tuple[Wall, Evaluation]],
    subjects: Sequence[Subject],
    *,
    about: str | None,
    depth: int,
    changed: Sequence[str] = (),
) -> Reasons:
    """Why the subjects came out as they did at each wall.

    `depth` counts conclusions on the way down: 1 shows the rules behind a conclusion with their conditions, 2 also the
    earlier decisions that these rest on and the rules that might have brought another option, and so on.
    """
    year = file.survey.property.survey_date.year
    walls = tuple(_of_wall(base, wall, evaluation, year, subjects, depth) for wall, evaluation in judged)
    head = heading(file, base, as_of, changed)
    return Reasons(**dict(head), about=about, depth=depth, walls=walls)


def _of_wall(
    base: RuleBase,
    wall: Wall,
    evaluation: Evaluation,
    survey_year: int,
    subjects: Sequence[Subject],
    depth: int,
) -> WallReasons:
    """The reasons for each subject in turn; what one shows, the next only refers to."""
    tree = _Tree(base, evaluation, survey_year)
    return WallReasons(
        wall=wall.id,
        note=wall.note,
        status=wall_status(evaluation),
        conclusions=tuple(tree.subject(each, depth) for each in subjects),
        cut=tuple(tree.cut),
    )


def rule_head(rule: Rule, base: RuleBase) -> RuleHead:
    """A rule with its grade and its sources looked up."""
    return RuleHead(
        **dict(rule_cited(rule, base)),
        supports=tuple(f"{choice}={option}" for choice, option in rule.supports),
        rules_out=tuple(f"{choice}={option}" for choice, option in rule.rules_out),
        adds=tuple(f"{name}={member}" for name, member in rule.adds),
    )


class _Tree:
    """Builds the tree of one wall. Depth is what is left of it: at 0 a conclusion is only named."""

    def __init__(self, base: RuleBase, evaluation: Evaluation, survey_year: int) -> None:
        self._base = base
        self._evaluation = evaluation
        self._view = now_view(evaluation)
        self._reach = what_matters(base, evaluation, survey_year)
        self._shown: set[tuple[str, str]] = set()
        self._groups: dict[Condition, str] = {}
        self.cut: dict[str, None] = {}

    def subject(self, subject: Subject, depth: int) -> Conclusion:
        if subject.kind == "rule":
            return self._rule(self._base.by_id[subject.id], depth)
        if subject.kind == "member":
            return self._member(subject.of, subject.id, depth)
        taken = self._evaluation.outcomes[subject.of].option
        if subject.kind == "option" and subject.id not in (taken, UNDECIDED):
            return self._option(subject.of, subject.id, depth)
        return self._choice(subject.of, depth)

    def _seen(self, what: str, key: str) -> bool:
        """Whether a part was shown already; from now on it was."""
        known = (what, key) in self._shown
        self._shown.add((what, key))
        return known

    def _cut(self, what: Literal["choice", "set", "rules"], key: str, rules: Sequence[Rule] = ()) -> CutHere:
        self.cut[key] = None
        return CutHere(what=what, id=key, rules=tuple(rule.id for rule in rules))

    def _choice(self, name: str, depth: int) -> ChoiceReason | SeenAbove:
        if self._seen("choice", name):
            return SeenAbove(what="choice", id=name)
        choice, outcome = self._base.choices[name], self._evaluation.outcomes[name]
        ids = [option.id for option in choice.options]
        at = ids.index(outcome.option) if outcome.option in ids else len(ids)
        taken = choice.options[at] if at < len(ids) else None
        support = self._holding(supports=(name, outcome.option))
        before = choice.options[:at]
        grounds = support or [rule for o in before for rule in self._holding(rules_out=(name, o.id))]
        strongest = min(grounds, key=strength, default=None)
        return ChoiceReason(
            choice=name,
            title=choice.title,
            option=outcome.option,
            says=taken.says if taken else "no option stands on what is known",
            status=outcome.status,
            word=strongest.word if strongest else None,
            certainty=strongest.raw.certainty if strongest else None,
            possible=outcome.possible,
            open_facts=tuple(fact for fact, choices in self._reach.items() if name in choices),
            is_open=bool(taken and taken.open),
            order_because=choice.order_because,
            supported_by=tuple(self._rule(rule, depth) for rule in support),
            before=tuple(self._before(name, option.id, option.says, depth) for option in before),
            also_stand=tuple(
                option.id
                for option in choice.options[at + 1 :]
                if (option.open or self._holding(supports=(name, option.id)))
                and not self._holding(rules_out=(name, option.id))
            ),
        )

    def _before(self, choice: str, option: str, says: str, depth: int) -> OptionBefore:
        against = self._holding(rules_out=(choice, option))
        rules = tuple(self._rule(rule, depth) for rule in against)
        if against:
            return OptionBefore(option=option, says=says, why="ruled_out", rules=rules, absent=(), cut=None)
        absent, cut = self._absent(f"{choice}={option}", supports=(choice, option), depth=depth)
        return OptionBefore(option=option, says=says, why="not_supported", rules=(), absent=absent, cut=cut)

    def _option(self, name: str, option: str, depth: int) -> OptionReason:
        choice, outcome = self._base.choices[name], self._evaluation.outcomes[name]
        found = next(each for each in choice.options if each.id == option)
        against = self._holding(rules_out=(name, option))
        support = self._holding(supports=(name, option))
        stands = found.open or support
        return OptionReason(
            choice=name,
            title=choice.title,
            option=option,
            says=found.says,
            taken=outcome.option,
            is_open=found.open,
            why="ruled_out" if against else "stands_behind" if stands else "not_supported",
            possible=option in outcome.possible,
            supported_by=tuple(self._rule(rule, depth) for rule in support),
            ruled_out_by=tuple(self._rule(rule, depth) for rule in against),
        )

    def _member(self, name: str, member: str, depth: int) -> MemberReason | SeenAbove:
        if self._seen("member", f"{name}={member}"):
            return SeenAbove(what="member", id=f"{name}={member}")
        held, said = self._evaluation.sets[name], self._base.members[name][member]
        rules = self._holding(adds=(name, member))
        absent, cut = ((), None) if rules else self._absent(f"{name}={member}", adds=(name, member), depth=depth)
        return MemberReason(
            set=name,
            title=self._base.sets[name].title,
            member=member,
            says=said.says,
            detail=said.detail,
            found=member in held.now,
            settled=member in held.sure or member not in held.now | held.may,
            word=min((rule.word for rule in rules), key=WORDS.index, default=None),
            rules=tuple(self._rule(rule, depth) for rule in rules),
            absent=absent,
            cut=cut,
        )

    def _holding(self, **brings: tuple[str, str]) -> list[Rule]:
        """The rules that hold and bring something."""
        return [rule for rule in self._bringing(**brings) if rule.id in self._evaluation.fired]

    def _bringing(self, **brings: tuple[str, str]) -> Iterator[Rule]:
        ((kind, pair),) = brings.items()
        return (rule for stage in self._base.by_stage.values() for rule in stage if pair in getattr(rule, kind))

    def _absent(
        self, key: str, depth: int, **brings: tuple[str, str]
    ) -> tuple[tuple[RuleAbsent | SeenAbove, ...], CutHere | None]:
        """The rules that would have brought something and do not hold: one level further down."""
        rules = list(self._bringing(**brings))
        if depth <= 1:
            return (), self._cut("rules", key, rules) if rules else None
        return tuple(self._absent_rule(rule, depth - 1) for rule in rules), None

    def _absent_rule(self, rule: Rule, depth: int) -> RuleAbsent | SeenAbove:
        if self._seen("rule", rule.id):
            return SeenAbove(what="rule", id=rule.id)
        return RuleAbsent(
            id=rule.id,
            title=rule.title,
            holds=word_of(self._evaluation.now[rule.id]),
            kept_by=tuple(self._missing(rule.when, True, depth)),
        )

    def _missing(self, condition: Condition, wanted: bool, depth: int) -> Iterator[Missing]:
        """The parts, of one variable each, that keep a condition from being true (or false, where not `wanted`)."""
        variable = the_variable(condition)
        truth = self._view.truth(condition)
        if variable is not None:
            tests = tuple(tests_in(condition))
            yield Missing(
                needs=needs(condition, wanted),
                truth=word_of(truth if wanted else truth.negated),
                met=met(variable, self._evaluation),
                tests=tuple(test.in_words() for test in tests),
                below=self._below(tests[0], depth) if tests[0].scope != "fact" else None,
            )
        elif isinstance(condition, Not):
            yield from self._missing(condition.part, not wanted, depth)
        elif not isinstance(condition, Test):
            for part in condition.parts:
                if self._view.truth(part) is truth:
                    yield from self._missing(part, wanted, depth)

    def _rule(self, rule: Rule, depth: int) -> RuleReason | SeenAbove:
        if self._seen("rule", rule.id):
            return SeenAbove(what="rule", id=rule.id)
        return RuleReason(
            **dict(rule_head(rule, self._base)),
            holds=word_of(self._evaluation.now[rule.id]),
            condition=self._condition(rule.when, depth, rule.id, decisive=True),
        )

    def _condition(self, condition: Condition, depth: int, rule: str, *, decisive: bool) -> ConditionReason:
        truth = self._view.truth(condition)
        if isinstance(condition, Test):
            return self._test(condition, depth, decisive=decisive)
        variable = the_variable(condition)
        same_as = self._groups.get(condition)
        if same_as is not None:
            parts: tuple[ConditionReason, ...] = ()
        elif isinstance(condition, Not):
            parts = (self._condition(condition.part, depth, rule, decisive=decisive),)
        else:
            parts = tuple(
                self._condition(each, depth, rule, decisive=decisive and self._view.truth(each) is truth)
                for each in condition.parts
            )
        if variable is None and decisive:
            self._groups.setdefault(condition, rule)
        return GroupReason(
            kind="not" if isinstance(condition, Not) else "all" if isinstance(condition, All) else "any",
            truth=word_of(truth),
            decisive=decisive,
            parts=parts,
            needs=needs(condition) if variable else None,
            met=met(variable, self._evaluation) if variable else None,
            same_as=same_as,
        )

    def _test(self, test: Test, depth: int, *, decisive: bool) -> TestReason:
        return TestReason(
            test=test.in_words(),
            needs=needs(test),
            truth=word_of(self._view.truth(test)),
            decisive=decisive,
            met=met(test.variable, self._evaluation),
            below=self._below(test, depth) if decisive else None,
        )

    def _below(self, test: Test, depth: int) -> Below | None:
        name = test.variable.name
        _, _, key = name.partition(".")
        if test.scope == "decided":
            if ("choice", key) not in self._shown and depth <= 1:
                return self._cut("choice", key)
            return self._choice(key, depth - 1)
        if test.scope == "found":
            return self._set(test, key, depth - 1)
        return self._reading(name) if name in READINGS else None

    def _set(self, test: Test, name: str, depth: int) -> SetReason | CutHere:
        """The members a test asks about: those found, or where there is none of them, each that is not."""
        if depth <= 0:
            return self._cut("set", name)
        asked = [str(each) for each in test.operand] or list(self._base.members[name])
        held = [member for member in asked if member in self._evaluation.sets[name].now]
        return SetReason(
            set=name,
            title=self._base.sets[name].title,
            members=tuple(self._member(name, member, depth) for member in held or asked),
        )

    def _reading(self, name: str) -> ReadingReason | SeenAbove:
        if self._seen("reading", name):
            return SeenAbove(what="reading", id=name)
        variable = READINGS[name]
        value = self._evaluation.values.get(name)
        return ReadingReason(
            reading=name,
            question=variable.question,
            how=variable.how,
            for_good=value is not None and value.for_good,
            inputs=tuple(met(facts()[fact], self._evaluation) for fact in variable.from_facts),
        )
