"""Compares a trainee's answers with what the rules come to, and says what was missed, misread, or asked for nothing."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from engine.decision.assess import LIMITS
from engine.decision.grounds import ground, grounds, now_view
from engine.facts.values import State, Value, in_words
from engine.facts.vocabulary import facts
from engine.inference.evaluate import Evaluation
from engine.inference.view import View
from engine.practice.attempt import Asked, Attempt, following
from engine.practice.generator import Cases
from engine.practice.judge import brought_by, failing, grounds_behind, standing_option
from engine.practice.model import (
    AskingMark,
    CaseResult,
    ChoiceMark,
    FactAsked,
    Lacking,
    Mark,
    OtherAnswer,
    RuleShown,
    RunResult,
    Twin,
    Use,
    WorkMark,
    WorksMark,
)
from engine.practice.settings import MINUTES
from engine.rulebase.conditions import Test
from engine.rulebase.rules import Rule


def marked(attempt: Attempt) -> CaseResult:
    """What comes of an attempt, as it stands."""
    return _Marking(attempt).result()


def run_result(trainee: str, cases: Cases, results: Sequence[CaseResult]) -> RunResult:
    """The results of several cases together; at least one."""
    return RunResult(
        trainee=trainee,
        rules=cases.base.manifest.version,
        rules_digest=cases.base.digest,
        surveys=cases.surveys_digest,
        score=round(sum(each.score for each in results) / len(results), 4),
        cases=tuple(results),
    )


def shown(name: str, value: Value) -> str:
    """A fact's value with its unit, or in which state it is."""
    if not value.known:
        return "not established" if value.state is State.UNKNOWN else value.state.value
    unit = facts()[name].unit
    said_already = unit is None or name.endswith(f".{unit}")
    return in_words(value.value) if said_already else f"{in_words(value.value)} {unit}"


class _Marking:
    def __init__(self, attempt: Attempt) -> None:
        self._attempt = attempt
        self._case = attempt.case
        self._base = attempt.cases.base
        self._evaluation: Evaluation = self._case.evaluation
        self._view: View = now_view(self._evaluation)
        asked = {each.fact for each in attempt.asked}
        self._unseen = tuple(name for name in self._case.hidden if name not in asked)
        self._deciding = attempt.cases.deciding(self._case)

    def result(self) -> CaseResult:
        choices = tuple(self._choice(each) for each in self._attempt.cases.subject.choices)
        works, asking = self._works(), self._asking()
        marks = [float(each.mark == "right") for each in choices if each.mark != "follows"]
        marks.append(works.score)
        if asking.score is not None:
            marks.append(asking.score)
        return CaseResult(
            seed=self._case.seed,
            level=self._case.level.number,
            case=self._case.number,
            check=self._case.check,
            source=self._case.source,
            choices=choices,
            works=works,
            asking=asking,
            twin=self._twin(),
            score=round(sum(marks) / len(marks), 4),
            limits=LIMITS,
        )

    def _choice(self, choice_id: str) -> ChoiceMark:
        choice, right = self._base.choices[choice_id], self._evaluation.outcomes[choice_id].option
        says = {option.id: option.says for option in choice.options}
        follows = self._attempt.follows(choice_id)
        answer = follows or self._attempt.answers.get(choice_id)
        mark = self._mark(choice_id, answer, follows is not None)
        wrong = mark == "wrong"
        against: tuple[RuleShown, ...] = ()
        lacking, behind = None, None
        if wrong:
            stage = self._base.by_stage[choice.stage]
            supporting = [rule for rule in stage if (choice_id, answer) in rule.supports]
            against = self._shown((rule.id for rule in stage if (choice_id, answer) in rule.rules_out), wrong=True)
            stands = any(each.id == answer and each.open for each in choice.options) or self._holding(supporting)
            if not against and stands:
                behind = choice.order_because
            elif not against:
                lacking = self._lacking(supporting)
        return ChoiceMark(
            choice=choice_id,
            title=choice.title,
            answer=answer,
            answer_says=says[answer] if answer else "",
            right=right,
            right_says=says[right],
            mark=mark,
            brings=self._shown(brought_by(self._base, self._evaluation, choice_id), wrong=wrong),
            against=against,
            lacking=lacking,
            behind=behind,
            not_asked=tuple(n for n in self._unseen if wrong and choice_id in self._deciding.get(n, ())),
        )

    def _mark(self, choice_id: str, answer: str | None, follows: bool) -> Mark:
        right = {each: self._evaluation.outcomes[each].option for each in self._attempt.cases.subject.choices}
        if follows or following(self._base, choice_id, self._before(choice_id, right)):
            return "follows"
        if answer is None:
            return "skipped"
        if answer == right[choice_id]:
            return "right"
        return "follows" if answer == self._given_before(choice_id) else "wrong"

    def _given_before(self, choice_id: str) -> str:
        """What the rules would come to here, had the earlier choices been as the trainee answered them."""
        decided = {each: outcome.option for each, outcome in self._evaluation.outcomes.items()}
        order = self._attempt.cases.subject.choices
        for each in order[: order.index(choice_id)]:
            decided[each] = self._attempt.follows(each) or self._attempt.answers.get(each) or decided[each]
        return standing_option(self._base, choice_id, replace(self._view, decided=decided))

    def _before(self, choice_id: str, right: dict[str, str]) -> dict[str, str]:
        order = list(right)
        return {each: right[each] for each in order[: order.index(choice_id)]}

    def _shown(self, rules: Iterable[str], *, wrong: bool = False) -> tuple[RuleShown, ...]:
        """Those of the rules that hold."""
        fired = self._evaluation.fired
        return tuple(self._rule(self._base.by_id[each], wrong=wrong) for each in rules if each in fired)

    def _holding(self, rules: Iterable[Rule]) -> list[str]:
        return [rule.id for rule in rules if rule.id in self._evaluation.fired]

    def _rule(self, rule: Rule, *, wrong: bool) -> RuleShown:
        unseen = self._unseen_behind(rule)
        return RuleShown(
            id=rule.id,
            title=rule.title,
            word=rule.word,
            because=rule.raw.because,
            basis=rule.raw.basis,
            certainty=rule.raw.certainty,
            grounds=grounds(rule.when, self._evaluation, self._view),
            unseen=unseen,
            reading=None if not wrong else "missed" if unseen else "misread",
        )

    def _unseen_behind(self, rule: Rule) -> tuple[str, ...]:
        """The facts a rule rests on that the trainee did not see.

        Those behind a choice or a set that is not asked about count too; what is asked about is marked by itself.
        """
        behind: set[str] = set()
        rules, looked_at = [rule], {rule.id}
        while rules:
            for test in grounds_behind(rules.pop().when, self._view):
                behind.update(test.variable.from_facts)
                further = [self._base.by_id[each] for each in self._behind_test(test) if each not in looked_at]
                looked_at.update(each.id for each in further)
                rules += further
        return tuple(name for name in self._unseen if name in behind)

    def _behind_test(self, test: Test) -> list[str]:
        """The rules that brought what a test reads of another choice, or of a set."""
        key = test.variable.name.partition(".")[2]
        if test.scope == "decided" and key not in self._attempt.cases.subject.choices:
            return brought_by(self._base, self._evaluation, key)
        if test.scope == "found":
            adds = {(key, member) for member in self._evaluation.sets[key].now}
            return [rule for rule in self._evaluation.fired if adds.intersection(self._base.by_id[rule].adds)]
        return []

    def _lacking(self, rules: Sequence[Rule]) -> Lacking | None:
        """The rule that lacks least, and what it lacks."""
        short = [(rule, failing(rule.when, self._view)) for rule in rules]
        short = [(rule, tests) for rule, tests in short if tests]
        if not short:
            return None
        # The rule that would hold beyond the boundary says most about why it does not hold here.
        beyond = self._case.twin.fired
        rule, tests = min(short, key=lambda each: (each[0].id not in beyond, len(each[1]), each[0].id))
        fails = tuple(ground(test, self._view.of_test(test), self._evaluation) for test in tests)
        return Lacking(rule=rule.id, title=rule.title, fails=fails)

    def _works(self) -> WorksMark:
        given, right = self._attempt.works or (), self._case.called_for
        found = [each for each in right if each in given]
        missed = [each for each in right if each not in given]
        more = [each for each in given if each not in right]
        total = len(found) + len(missed) + len(more)
        answered = self._attempt.works is not None
        return WorksMark(
            title=self._base.sets[self._attempt.cases.subject.works].title,
            answered=answered,
            found=tuple(self._work(each) for each in found),
            missed=tuple(self._work(each) for each in missed),
            superfluous=tuple(self._work(each) for each in more),
            score=round(len(found) / total, 4) if total else float(answered),
        )

    def _work(self, work: str) -> WorkMark:
        name = self._attempt.cases.subject.works
        adding = [rule for rule in self._base.rules if (name, work) in rule.adds]
        holding = self._holding(adding)
        return WorkMark(
            work=work,
            says=self._base.members[name][work].says,
            rules=self._shown(holding),
            lacking=None if holding else self._lacking(adding),
        )

    def _asking(self) -> AskingMark:
        asked = tuple(self._fact(each) for each in self._attempt.asked)
        decided = sum(each.minutes for each in asked if each.use == "decided")
        wasted = sum(each.minutes for each in asked if each.use == "could not matter")
        not_asked = tuple(name for name in self._unseen if name in self._deciding)
        wanted = decided + sum(MINUTES[facts()[name].effort] for name in not_asked)
        return AskingMark(
            asked=asked,
            minutes=self._attempt.minutes,
            wasted=wasted,
            not_asked=not_asked,
            score=round(decided / (wanted + wasted), 4) if wanted + wasted else None,
        )

    def _fact(self, asked: Asked) -> FactAsked:
        variable = facts()[asked.fact]
        use: Use = "could have mattered"
        if not asked.minutes:
            use = "nothing to find out"
        elif asked.fact in self._deciding:
            use = "decided"
        elif not asked.could_matter:
            use = "could not matter"
        return FactAsked(
            fact=asked.fact,
            question=variable.question,
            effort=variable.effort,
            value=shown(asked.fact, asked.value),
            minutes=asked.minutes,
            use=use,
        )

    def _twin(self) -> Twin:
        name = self._case.turns_on
        answers = []
        for choice_id in self._case.flips:
            choice = self._base.choices[choice_id]
            there = self._case.twin.outcomes[choice_id].option
            answers.append(
                OtherAnswer(
                    choice=choice_id,
                    title=choice.title,
                    here=self._evaluation.outcomes[choice_id].option,
                    there=there,
                    there_says=next(option.says for option in choice.options if option.id == there),
                )
            )
        return Twin(
            fact=name,
            question=facts()[name].question,
            here=shown(name, self._case.values[name]),
            there=shown(name, self._case.twin.values[name]),
            kept_back=name in self._case.hidden,
            asked=any(each.fact == name for each in self._attempt.asked),
            answers=tuple(answers),
        )
