"""From counts to what is said of them: titles, classes, the order in which changes are told."""

from __future__ import annotations

import datetime as dt
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from importlib.metadata import version
from typing import Any, Literal, get_args

from engine.archive.impact import ImpactPart, Kind
from engine.archive.impact_changes import STATUSES
from engine.archive.impact_model import (
    Cell,
    ChoiceTable,
    DecisionChanges,
    ExampleWall,
    FindingChanges,
    GroupImpact,
    Impact,
    LeftOutChanges,
    MemberChanges,
    OneVersionOnly,
    PointImpact,
    Recommendations,
    RejectedRow,
    RuleBrings,
    StatusChanges,
    StatusMoves,
    WorstMoves,
)
from engine.archive.impact_rules import HELD, Pair, Side
from engine.archive.totals_count import CONSTRUCTION, INSTALLED, YEAR
from engine.audit.boldness import Step
from engine.decision.assess import LIMITS
from engine.decision.chain import WORDS
from engine.decision.model import RuleSetUsed
from engine.rulebase.conditions import UNDECIDED
from engine.rulebase.model import STAGES
from engine.rulebase.rules import RuleBase

STEPS: tuple[Step, ...] = ("bolder", "newly_open", "newly_settled", "more_cautious", "otherwise")
"""The order in which changes are told."""
_WORST = (*WORDS, "not_decidable", "agree", "not_recorded")

assert set(STEPS) == set(get_args(Step))


@dataclass(frozen=True, slots=True)
class Intake:
    """What was read: the files, how many rows were rejected or stand twice, and the first of what is wrong."""

    files: tuple[str, ...] = ()
    rejected: int = 0
    repeated: int = 0
    rejects: tuple[RejectedRow, ...] = ()


def impact_report(part: ImpactPart, pair: Pair, intake: Intake) -> Impact:
    """What the parts of all batches together come to."""
    return _Report(part, pair).whole(intake)


class _Report:
    def __init__(self, part: ImpactPart, pair: Pair) -> None:
        self._part, self._pair = part, pair
        self._of: defaultdict[str, dict[tuple[Any, ...], int]] = defaultdict(dict)
        for (first, *rest), number in part.counts.items():
            self._of[str(first)][tuple(rest)] = number
        self._rules: defaultdict[Kind, list[tuple[Any, ...]]] = defaultdict(list)
        for (*kind, how, rule), number in self._of["rule"].items():
            self._rules[tuple(kind)].append((how, rule, number))
        self._statuses: defaultdict[Kind, list[tuple[Any, ...]]] = defaultdict(list)
        for (*kind, before, after), number in self._of["statuses"].items():
            self._statuses[tuple(kind)].append((before, after, number))

    def whole(self, intake: Intake) -> Impact:
        pair, part = self._pair, self._part
        return Impact(
            engine=f"bedjoint {version('bedjoint')}",
            a=_used(pair.a),
            b=_used(pair.b),
            files=intake.files,
            rows=part.walls + intake.rejected + intake.repeated,
            walls=part.walls,
            rejected=intake.rejected,
            repeated=intake.repeated,
            rejects=intake.rejects,
            changed=self._of["changed"].get((), 0),
            chosen=self._of["chosen"].get((), 0),
            status_only=self._of["status_only"].get((), 0),
            steps=_steps({step: number for (step,), number in self._of["class"].items()}),
            decisions=tuple(self._decisions()),
            members=tuple(self._members()),
            statuses=tuple(self._status_changes()),
            rules=self._told((how, rule, number) for (how, rule), number in self._of["brings"].items()),
            tables=tuple(self._table(choice) for choice in pair.choices),
            one_version_only=tuple(self._only()),
            not_compared=tuple(sorted({*pair.a.choices} ^ {*pair.b.choices})),
            constructions=self._groups(CONSTRUCTION),
            years=self._groups(YEAR),
            recommendations=self._recommendations(),
            limits=LIMITS,
        )

    def _kinds(self, what: str) -> list[tuple[Kind, int]]:
        return [(kind, number) for kind, number in self._of["kind"].items() if kind[0] == what]

    def _decisions(self) -> list[DecisionChanges]:
        found = []
        for kind, number in self._kinds("decision"):
            _, name, before, after = kind
            assert before is not None
            assert after is not None
            choice = self._pair.b.choices[name]
            found.append(
                DecisionChanges(
                    choice=name,
                    title=choice.title,
                    stage=choice.stage,
                    a=before,
                    b=after,
                    says_a=_option_says(self._pair.a, name, before),
                    says_b=_option_says(self._pair.b, name, after),
                    step=self._pair.bold.between(name, before, after),
                    walls=number,
                    statuses=tuple(
                        StatusMoves(a=a, b=b, walls=each)
                        for a, b, each in sorted(self._statuses[kind], key=lambda row: (-row[2], row[0], row[1]))
                    ),
                    rules=self._told(self._rules[kind]),
                    examples=self._examples(kind),
                )
            )
        order = list(self._pair.choices)
        return sorted(
            found,
            key=lambda each: (
                STEPS.index(each.step), STAGES.index(each.stage), order.index(each.choice), -each.walls, each.a, each.b
            ),
        )  # fmt: skip

    def _members(self) -> list[MemberChanges]:
        found = []
        for kind, number in self._kinds("member"):
            _, name, lost, gained = kind
            member = gained or lost or ""
            found.append(
                MemberChanges(
                    set=name,
                    title=self._set_title(name),
                    member=member,
                    says=self._member_says(name, member),
                    gained=gained is not None,
                    step=self._pair.bold.of_member(name, member, gained=gained is not None),
                    walls=number,
                    rules=self._told(self._rules[kind]),
                    examples=self._examples(kind),
                )
            )
        order = list(self._pair.sets)
        return sorted(
            found,
            key=lambda each: (
                STEPS.index(each.step), order.index(each.set), not each.gained, -each.walls, each.member
            ),
        )  # fmt: skip

    def _status_changes(self) -> list[StatusChanges]:
        found = []
        for kind, number in self._kinds("status"):
            _, name, before, after = kind
            opened = STATUSES.index(str(after)) < STATUSES.index(str(before))
            found.append(
                StatusChanges(
                    choice=name,
                    title=self._pair.b.choices[name].title,
                    a=before,
                    b=after,
                    step="newly_open" if opened else "newly_settled",
                    walls=number,
                    examples=self._examples(kind),
                )
            )
        order = list(self._pair.choices)
        return sorted(found, key=lambda each: (STEPS.index(each.step), order.index(each.choice), each.a, each.b))

    def _told(self, rules: Iterable[tuple[Any, ...]]) -> tuple[RuleBrings, ...]:
        """Rules, the one at most walls first."""
        pair = self._pair
        return tuple(
            RuleBrings(
                id=rule,
                title=(pair.b.by_id.get(rule) or pair.a.by_id[rule]).title,
                holds=how,
                change=pair.change_of(rule),
                walls=number,
            )
            for how, rule, number in sorted(rules, key=lambda row: (-row[2], HELD.index(row[0]), row[1]))
        )

    def _examples(self, kind: Kind) -> tuple[ExampleWall, ...]:
        return tuple(
            ExampleWall(
                file=file,
                sheet=sheet,
                row=row,
                wall=wall,
                reference=reference,
                survey_date=dt.date.fromisoformat(day) if day else None,
            )
            for file, sheet, row, wall, reference, day in self._part.examples.get(kind, ())
        )

    def _table(self, choice: str) -> ChoiceTable:
        order = [
            *dict.fromkeys(
                option.id for base in (self._pair.b, self._pair.a) for option in base.choices[choice].options
            ),
            UNDECIDED,
        ]
        cells = [
            Cell(a=before, b=after, walls=number)
            for (name, before, after), number in self._of["table"].items()
            if name == choice
        ]
        cells.sort(key=lambda each: (order.index(each.a), order.index(each.b)))
        return ChoiceTable(choice=choice, title=self._pair.b.choices[choice].title, cells=tuple(cells))

    def _only(self) -> Iterator[OneVersionOnly]:
        pair, counted = self._pair, self._of["only"]
        sides: tuple[tuple[Side, RuleBase, RuleBase], ...] = (("a", pair.a, pair.b), ("b", pair.b, pair.a))
        kinds: tuple[tuple[Literal["option", "member"], Callable[[RuleBase], dict[str, list[str]]]], ...] = (
            ("option", _options),
            ("member", _members),
        )
        for side, base, other in sides:
            for kind, listed in kinds:
                there = listed(other)
                for of, several in listed(base).items():
                    for each in several:
                        if each not in there.get(of, ()):
                            walls = counted.get((side, of, each), 0)
                            yield OneVersionOnly(kind=kind, of=of, id=each, version=side, walls=walls)

    def _groups(self, group: str) -> tuple[GroupImpact, ...]:
        steps: defaultdict[Any, dict[str, int]] = defaultdict(dict)
        for (column, value, step), number in self._of["group_class"].items():
            if column == group:
                steps[value][step] = number
        found = [
            GroupImpact(
                name=None if value is None else str(value),
                walls=number,
                changed=self._of["group_changed"].get((group, value), 0),
                chosen=self._of["group_chosen"].get((group, value), 0),
                steps=_steps(steps[value]),
            )
            for (column, value), number in self._of["group"].items()
            if column == group
        ]
        if group == YEAR:
            return tuple(sorted(found, key=lambda each: (each.name is None, each.name or "")))
        return tuple(sorted(found, key=lambda each: (each.name is None, -each.walls, each.name or "")))

    def _recommendations(self) -> Recommendations | None:
        recorded = self._of["recorded"].get((), 0)
        if not recorded:
            return None
        worst = [WorstMoves(a=a, b=b, walls=number) for (a, b), number in self._of["worst"].items()]
        worst.sort(key=lambda each: (_WORST.index(each.a), _WORST.index(each.b)))
        grades = {word: at for at, word in enumerate(WORDS)}
        none = len(grades)
        moved: Counter[bool] = Counter()
        for each in worst:
            before, after = grades.get(each.a, none), grades.get(each.b, none)
            if before != after:
                moved[after < before] += each.walls
        return Recommendations(
            walls=recorded,
            graver=moved[True],
            lighter=moved[False],
            points=tuple(self._points()),
            left_out=tuple(self._left_out()),
            worst=tuple(worst),
        )

    def _points(self) -> list[PointImpact]:
        by_point: defaultdict[str, list[tuple[Kind, int]]] = defaultdict(list)
        for kind, number in self._kinds("finding"):
            by_point[kind[1]].append((kind, number))
        found = []
        for point in (*self._pair.choices, INSTALLED):
            before, after = (self._of["differs"].get((side, point), 0) for side in ("a", "b"))
            changes = [
                FindingChanges(
                    a=kind[2] or "",
                    b=kind[3] or "",
                    walls=number,
                    rules=self._told(self._rules[kind]),
                    examples=self._examples(kind),
                )
                for kind, number in by_point[point]
            ]
            if not before and not after:
                continue
            changes.sort(key=lambda each: (_WORST.index(each.b), _WORST.index(each.a)))
            ways = Counter[tuple[bool, bool]]()
            for each in changes:
                ways[each.a in WORDS, each.b in WORDS] += each.walls
            title = self._pair.b.choices[point].title if point in self._pair.b.choices else "What was installed"
            found.append(
                PointImpact(
                    point=point,
                    title=title,
                    before=before,
                    after=after,
                    arises=ways[False, True],
                    vanishes=ways[True, False],
                    regraded=ways[True, True],
                    changes=tuple(changes),
                )
            )
        return found

    def _left_out(self) -> list[LeftOutChanges]:
        found = []
        for kind, number in self._kinds("left_out"):
            _, name, no_longer, newly = kind
            member = newly or no_longer or ""
            found.append(
                LeftOutChanges(
                    set=name,
                    title=self._set_title(name),
                    member=member,
                    says=self._member_says(name, member),
                    arises=newly is not None,
                    walls=number,
                    examples=self._examples(kind),
                )
            )
        order = list(self._pair.sets)
        return sorted(found, key=lambda each: (not each.arises, order.index(each.set), -each.walls, each.member))

    def _set_title(self, name: str) -> str:
        return (self._pair.b.sets.get(name) or self._pair.a.sets[name]).title

    def _member_says(self, name: str, member: str) -> str:
        for base in (self._pair.b, self._pair.a):
            if member in base.members.get(name, {}):
                return base.members[name][member].says
        return member


def _options(base: RuleBase) -> dict[str, list[str]]:
    return {choice.id: [option.id for option in choice.options] for choice in base.choices.values()}


def _members(base: RuleBase) -> dict[str, list[str]]:
    return {name: list(base.members.get(name, ())) for name in base.sets}


def _option_says(base: RuleBase, choice: str, option: str) -> str:
    return next((each.says for each in base.choices[choice].options if each.id == option), option)


def _steps(counted: Mapping[str, int]) -> dict[Step, int]:
    return {step: counted[step] for step in STEPS if counted.get(step)}


def _used(base: RuleBase) -> RuleSetUsed:
    manifest = base.manifest
    return RuleSetUsed(version=manifest.version, in_force_from=manifest.in_force_from, digest=base.digest)
