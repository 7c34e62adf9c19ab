"""The review of one wall."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from typing import Any

from engine.archive.agreement_rules import catalogued, rule_masks
from engine.archive.job import FAILURES, INSTALLED, JobWall
from engine.archive.relative_cost import relative_cost
from engine.archive.review_model import (
    ChoicePoint,
    Finding,
    InstalledPoint,
    MemberPoint,
    OptionSaid,
    OutcomePoint,
    OverSpecified,
    RuleHolds,
    RuleNamed,
    SetPoint,
    Sides,
    WallReviewed,
)
from engine.decision.assess import choice_decided, wall_status
from engine.decision.chain import WORDS, strength
from engine.decision.grounds import grounds, now_view
from engine.decision.model import NotTaken, Word
from engine.decision.open_questions import open_questions, what_matters
from engine.facts.intake import SurveyFile
from engine.facts.survey import Wall
from engine.inference.evaluate import Evaluation
from engine.reasoning.change import Goal, changes_to
from engine.reasoning.change_model import WallChanges, changes_said
from engine.reasoning.reasons import rule_head
from engine.rulebase.conditions import UNDECIDED
from engine.rulebase.model import Choice
from engine.rulebase.rules import Rule, RuleBase

MOST_FACTS = 2
"""Sets of so many facts at the most are looked for that would bring what was recommended ..."""
MOST_SETS = 3
"""... and so many of one size ..."""
MOST_SEARCHES = 3
"""... at so many of the choices that differ by themselves: counts, so that the answer does not hang on the machine."""
_WOULD_ADD_SHOWN = 3


class WallReviewer:
    """Puts the review of one wall together. `findings` is its row of `engine.archive.agreement`."""

    def __init__(
        self,
        file: SurveyFile,
        wall: Wall,
        base: RuleBase,
        as_of: dt.date,
        evaluation: Evaluation,
        job: JobWall,
        findings: Mapping[str, Any],
    ) -> None:
        self._file, self._wall, self._base, self._as_of = file, wall, base, as_of
        self._evaluation, self._job, self._findings = evaluation, job, findings
        self._fired = [rule for rule in base.rules if rule.id in evaluation.fired]
        self._named: dict[str, None] = {}
        """Every rule that a point names."""

    def review(self) -> WallReviewed:
        """The wall, point by point."""
        year = self._file.survey.property.survey_date.year
        reach = what_matters(self._base, self._evaluation, year, each_choice=True)
        questions = open_questions(self._base, self._evaluation, reach)
        recommended = [name for name in self._base.choices if name in self._job.recommended]
        bearing = {name: tuple(each.fact for each in questions if name in each.bears_on) for name in recommended}
        searched = [name for name in recommended if self._looked_for(name)][:MOST_SEARCHES]
        choices = tuple(self._choice(name, bearing[name], name in searched) for name in recommended)
        sets = tuple(self._set(name) for name in self._base.sets if name in self._job.recommended)
        over, installed = self._over_specified(), self._installed()
        undecided = {each.choice for each in choices if each.finding == "not_decidable"}
        return WallReviewed(
            wall=self._wall.id,
            note=self._wall.note,
            recorded_note=self._job.note,
            status=wall_status(self._evaluation),
            worst=self._findings["worst"],
            choices=choices,
            sets=sets,
            over_specified=over,
            installed=installed,
            outcome=self._outcome(),
            open_questions=tuple(each for each in questions if undecided & set(each.bears_on)),
            rules=tuple(self._rules()),
        )

    def _looked_for(self, name: str) -> bool:
        return name in self._findings["primary"] and self._said(name, str(self._job.recommended[name])).known

    def _choice(self, name: str, open_facts: tuple[str, ...], searched: bool) -> ChoicePoint:
        choice, outcome = self._base.choices[name], self._evaluation.outcomes[name]
        recommended, findings = str(self._job.recommended[name]), self._findings
        finding: Finding = findings[f"finding.{name}"]
        primary = name in findings["primary"]
        return ChoicePoint(
            choice=name,
            title=choice.title,
            order_because=choice.order_because,
            recommended=self._said(name, recommended),
            decided=self._said(name, outcome.option),
            status=outcome.status,
            possible=outcome.possible,
            finding=finding,
            grade=findings[f"grade.{name}"],
            primary=primary,
            follows_from=() if primary or finding != "differs" else self._follows_from(name),
            sides=self._sides(choice, recommended, findings[f"against.{name}"], finding),
            would_bring=self._would_bring(name, recommended) if searched else None,
            open_facts=open_facts if finding == "not_decidable" or outcome.status == "provisional" else (),
            dead_end=outcome.option == UNDECIDED and outcome.settled,
        )

    def _sides(self, choice: Choice, given: str, against: Sequence[str], finding: Finding) -> Sides:
        """The rules on both sides. Where both sides agree, the same rules bring the one and support the other."""
        decided = choice_decided(choice, self._evaluation.outcomes[choice.id], self._base, self._evaluation, {})
        not_taken = next((each for each in decided.not_taken if each.option == given), None)
        return self._noted(
            Sides(
                against=tuple(against) if finding == "differs" else self._speaks_against(not_taken),
                for_decision=decided.rules,
                for_recommendation=tuple(r.id for r in self._fired if (choice.id, given) in r.supports),
                stands=not_taken is not None and not_taken.why == "stands_behind",
            )
        )

    def _speaks_against(self, not_taken: NotTaken | None) -> tuple[str, ...]:
        """What rules out on what is known so far an option that is not excluded for good."""
        return not_taken.rules if not_taken is not None and not_taken.why == "ruled_out" else ()

    def _noted(self, sides: Sides) -> Sides:
        self._named.update(dict.fromkeys((*sides.against, *sides.for_decision, *sides.for_recommendation)))
        return sides

    def _follows_from(self, name: str) -> tuple[str, ...]:
        """The earlier choices that the rules against it read and that differ, or else were not agreed on."""
        masks = rule_masks(self._base)
        bits = sum(1 << masks.rules.index(rule) for rule in self._findings[f"against.{name}"])
        read = [earlier for earlier, mask in masks.choices[name].reads.items() if mask & bits]
        differing = tuple(each for each in read if self._findings[f"finding.{each}"] == "differs")
        return differing or tuple(each for each in read if self._findings[f"finding.{each}"] != "agree")

    def _would_bring(self, name: str, option: str) -> WallChanges:
        goal = Goal(name, option)
        search = changes_to(self._file, self._wall, self._base, self._evaluation, goal, MOST_FACTS, most=MOST_SETS)
        judged = [(self._wall, self._evaluation, search)]
        return changes_said(self._file, self._base, self._as_of, goal, judged, MOST_FACTS).walls[0]

    def _said(self, choice: str, option: str) -> OptionSaid:
        words = {each.id: each.says for each in self._base.choices[choice].options}
        words[UNDECIDED] = "nothing: no option stands on what is known"
        missing = f"these rules have no such option of {choice}"
        return OptionSaid(option=option, says=words.get(option, missing), known=option in words)

    def _set(self, name: str) -> SetPoint:
        held, findings = self._evaluation.sets[name], self._findings
        recommended = tuple(self._job.recommended[name])
        left_out, beyond = findings[f"left_out.{name}"], findings[f"beyond.{name}"]
        order = catalogued(self._base, name)
        now = [m for m in order if m in held.now and m not in held.sure and m not in recommended]
        may = [m for m in order if m in recommended and m not in held.sure and m in held.may]
        finding: Finding = "differs" if left_out else "not_decidable" if now or may else "agree"
        return SetPoint(
            set=name,
            title=self._base.sets[name].title,
            recommended=recommended,
            agreed=tuple(m for m in order if m in recommended and m in held.sure),
            finding=finding,
            grade=findings[f"left_out_grade.{name}"],
            left_out=self._members(name, left_out),
            beyond=self._members(name, beyond),
            called_for_now=self._members(name, now),
            may_be_called_for=self._members(name, may),
        )

    def _members(self, name: str, members: Iterable[str]) -> tuple[MemberPoint, ...]:
        return tuple(self._member(name, member) for member in members)

    def _member(self, name: str, member: str) -> MemberPoint:
        adding = [rule for rule in self._base.rules if (name, member) in rule.adds]
        holding = [rule for rule in adding if rule.id in self._evaluation.fired]
        self._named.update(dict.fromkeys(rule.id for rule in holding))
        could = sorted((rule for rule in adding if rule not in holding), key=strength)
        known = self._base.members[name].get(member)
        return MemberPoint(
            id=member,
            says=known.says if known else f"these rules have no such member of {name}",
            word=_strongest(holding),
            rules=tuple(rule.id for rule in holding),
            would_add=tuple(RuleNamed(id=rule.id, title=rule.title) for rule in could[:_WOULD_ADD_SHOWN]),
        )

    def _over_specified(self) -> OverSpecified | None:
        cheaper = self._findings["over_specified"]
        if cheaper is None:
            return None
        cost = relative_cost()
        recommended = str(self._job.recommended[cost.choice])
        return OverSpecified(
            choice=cost.choice,
            recommended=self._said(cost.choice, recommended),
            cheaper=self._said(cost.choice, cheaper),
            why_dearer=cost.classes[cost.ranks[recommended]].because,
            why_cheaper=cost.classes[cost.ranks[cheaper]].because,
            basis=cost.basis,
        )

    def _installed(self) -> InstalledPoint | None:
        installed = self._job.installed_medium
        if installed is None or INSTALLED not in self._base.choices:
            return None
        choice, outcome = self._base.choices[INSTALLED], self._evaluation.outcomes[INSTALLED]
        finding: Finding = self._findings["finding.installed"]
        return InstalledPoint(
            installed=self._said(INSTALLED, installed),
            on=self._job.installed_on,
            as_recommended=self._findings["as_recommended"],
            decided=self._said(INSTALLED, outcome.option),
            finding=finding,
            grade=self._findings["grade.installed"],
            sides=self._sides(choice, installed, self._findings["against.installed"], finding),
        )

    def _outcome(self) -> OutcomePoint | None:
        result = self._job.outcome_result
        if result is None:
            return None
        return OutcomePoint(result=result, on=self._job.outcome_on, failure=result in FAILURES)

    def _rules(self) -> Iterator[RuleHolds]:
        view = now_view(self._evaluation)
        for stage in self._base.by_stage.values():
            for rule in stage:
                if rule.id in self._named:
                    met = grounds(rule.when, self._evaluation, view)
                    yield RuleHolds(**dict(rule_head(rule, self._base)), grounds=met)


def _strongest(rules: Collection[Rule]) -> Word | None:
    return min((rule.word for rule in rules), key=WORDS.index, default=None)
