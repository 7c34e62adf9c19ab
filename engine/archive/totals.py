"""Counts the findings of every wall, batch by batch: memory does not grow with their number."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping
from typing import Any, get_args

import polars as pl

from engine.archive.agreement import MEDIUM
from engine.archive.intervals import share_of
from engine.archive.job import FAILURES, RESULTS
from engine.archive.results_batches import ROW_GROUP, in_batches
from engine.archive.totals_count import CONSTRUCTION, INSTALLED, SURVEYOR, YEAR, Counts
from engine.archive.totals_model import (
    ChoiceTotals,
    Difference,
    Failures,
    FileTotals,
    Findings,
    GroupTotals,
    Installed,
    InstalledTotals,
    LeftOut,
    MemberTotals,
    Outcomes,
    OverSpecified,
    RuleBroken,
    RunFacts,
    SetTotals,
    Totals,
    WorstWall,
)
from engine.decision.assess import LIMITS
from engine.decision.chain import WORDS
from engine.decision.model import Status
from engine.errors import BedjointError
from engine.rulebase.rules import Rule, RuleBase

FINDINGS = (*WORDS, "agree", "not_decidable", "not_recorded")
WORST = 200
"""How many of the gravest differences are told one by one."""


def totals(
    walls: pl.LazyFrame, run: RunFacts, bases: Mapping[str, RuleBase], batch: int = ROW_GROUP, worst: int = WORST
) -> Totals:
    """Count everything that `walls` (the results file: a wall a row) holds.

    `bases` are the rules that judged, by version. The same walls give the same totals in whatever batches.

    Raises:
        BedjointError: the rows of a file are not those decided, rejected and repeated.
    """
    counts = _Totalled(bases, worst)
    walls = walls.select(counts.read_of(walls.collect_schema().names()))
    for frame in in_batches(walls, batch):
        counts.add(frame)
    return counts.totals(run)


class _Totalled(Counts):
    def totals(self, run: RunFacts) -> Totals:
        """What all batches come to."""
        decided = sum(self.of["walls"].values())
        files = _files(run, self.of["files"])
        status = self.of["status"]
        rejected, repeated = (sum(getattr(each, kind) for each in files) for kind in ("rejected", "repeated"))
        settled, provisional, undecided = (status[each] for each in get_args(Status))
        return Totals(
            limits=LIMITS,
            engine=run.engine,
            on=run.on,
            rules=run.rules,
            rows=sum(each.rows for each in files),
            decided=decided,
            rejected=rejected,
            repeated=repeated,
            files=files,
            rejected_for=tuple(sorted(run.rejected, key=lambda each: (each.file, -each.rows, each.kind))),
            settled=settled,
            provisional=provisional,
            undecided=undecided,
            walls=_findings(self.of["walls"]),
            choices=tuple(
                ChoiceTotals(choice=name, title=choice.title, findings=self._point(name))
                for name, choice in self.choices.items()
                if f"finding.{name}" in self.of
            ),
            sets=tuple(self._set(name) for name in self.sets if f"set.{name}" in self.of),
            installed=self._installed(decided),
            over_specified=tuple(
                OverSpecified(recommended=recommended, cheaper=cheaper, walls=number)
                for (recommended, cheaper), number in _most_first(self.of["over_specified"])
            ),
            rules_broken=tuple(self._broken()),
            years=self._groups(YEAR, by_name=True),
            surveyors=self._groups(SURVEYOR),
            constructions=self._groups(CONSTRUCTION),
            outcomes=self._outcomes(decided),
            worst=tuple(self._worst_walls()),
        )

    def _point(self, name: str) -> Findings:
        counted: Counter[str] = Counter()
        for (finding, grade), number in self.of[f"finding.{name}"].items():
            counted[grade if finding == "differs" else finding] += number
        return _findings(counted)

    def _set(self, name: str) -> SetTotals:
        counted, by_member = self.of[f"set.{name}"], defaultdict[str, Counter[str]](Counter)
        for (member, word), number in self.of[f"left_out.{name}"].items():
            by_member[member][word] += number
        recorded = counted["recorded"]
        members = [
            MemberTotals(
                member=member,
                says=self._says(name, member),
                must=words["must"],
                should=words["should"],
                consider=words["consider"],
                walls=words.total(),
                of_recorded=share_of(words.total(), recorded),
                rules=self._asking(name, member),
            )
            for member, words in by_member.items()
        ]
        members.sort(key=lambda each: (-each.must, -each.should, -each.consider, each.member))
        return SetTotals(
            set=name,
            title=self.sets[name].title,
            recorded=recorded,
            not_recorded=self.of["walls"].total() - recorded,
            complete=counted["complete"],
            beyond=counted["beyond"],
            left_out=tuple(members),
        )

    def _says(self, name: str, member: str) -> str:
        found = (base.members.get(name, {}).get(member) for base in self.bases.values())
        return next((each.says for each in found if each is not None), member)

    def _asking(self, name: str, member: str) -> tuple[str, ...]:
        asking = (rule.id for base in self.bases.values() for rule in base.rules if (name, member) in rule.adds)
        return tuple(dict.fromkeys(asking))

    def _broken(self) -> Iterator[RuleBroken]:
        for (version, rule_id), number in _most_first(self.of["broken"]):
            rule: Rule = self.bases[version].by_id[rule_id]
            yield RuleBroken(rule=rule_id, rules=version, title=rule.title, word=rule.word, walls=number)

    def _installed(self, decided: int) -> InstalledTotals:
        same = self.of["as_recommended"]
        return InstalledTotals(
            findings=self._point(INSTALLED),
            as_recommended=same[True],
            otherwise=same[False],
            not_known=decided - same[True] - same[False],
            pairs=tuple(
                Installed(recommended=recommended, installed=installed, walls=number)
                for (recommended, installed), number in _most_first(self.of["pairs"])
            ),
        )

    def _groups(self, key: str, by_name: bool = False) -> tuple[GroupTotals, ...]:
        groups: defaultdict[Any, Counter[str]] = defaultdict(Counter)
        for (name, worst), number in self.of[key].items():
            groups[name][worst] += number
        made = [
            GroupTotals(name=None if name is None else str(name), findings=_findings(counted))
            for name, counted in groups.items()
        ]
        made.sort(key=lambda each: (each.name is None, 0 if by_name else -each.findings.walls, each.name or ""))
        return tuple(made)

    def _outcomes(self, decided: int) -> Outcomes:
        counted = self.of["outcome"]
        cured, better, unchanged, worse = (counted[each] for each in RESULTS)
        known = cured + better + unchanged + worse
        order = ("agree", *WORDS, "not_decidable", "not_recorded")
        return Outcomes(
            cured=cured,
            better=better,
            unchanged=unchanged,
            worse=worse,
            not_recorded=decided - known,
            failed=share_of(unchanged + worse, known),
            by_medium=_failures(self.of["by_medium"]),
            by_rules=tuple(sorted(_failures(self.of["by_rules"]), key=lambda each: order.index(str(each.name)))),
            by_verdict=_failures(self.of["by_verdict"]),
        )

    def _worst_walls(self) -> Iterator[WorstWall]:
        if self.worst is None:
            return
        for row in self.worst.iter_rows(named=True):
            yield WorstWall(
                file=row["at.file"],
                sheet=row["at.sheet"],
                row=row["at.row"],
                reference=row["reference"],
                wall=row["wall"],
                survey_date=row["survey_date"],
                surveyor=row["surveyor"],
                rules=row["rules"],
                worst=row["worst"],
                differences=tuple(self._differences(row)),
                left_out=tuple(
                    LeftOut(set=name, members=tuple(row[f"left_out.{name}"]), word=row[f"left_out_grade.{name}"])
                    for name in self.sets
                    if row.get(f"left_out.{name}")
                ),
            )

    def _differences(self, row: dict[str, Any]) -> Iterator[Difference]:
        primary = row["primary"] or ()
        points = [(name, f"recommended.{name}", name) for name in self.choices if name in primary]
        points.append((INSTALLED, f"installed.{MEDIUM}", MEDIUM))
        for name, recorded, choice in points:
            if row.get(f"finding.{name}") == "differs":
                yield Difference(
                    choice=name,
                    recorded=row[recorded],
                    decided=row[f"decided.{choice}"],
                    word=row[f"grade.{name}"],
                    rules=tuple(row[f"against.{name}"]),
                )


def _findings(counted: Mapping[Any, int]) -> Findings:
    of = {name: counted.get(name, 0) for name in FINDINGS}
    differs = sum(of[word] for word in WORDS)
    return Findings(walls=sum(counted.values()), differs=share_of(differs, differs + of["agree"]), **of)


def _failures(counted: Counter[Any]) -> tuple[Failures, ...]:
    groups: defaultdict[Any, Counter[str]] = defaultdict(Counter)
    for (name, result), number in counted.items():
        groups[name][result] += number
    made = [
        Failures(
            name=name,
            unchanged=results["unchanged"],
            worse=results["worse"],
            failed=share_of(sum(results[each] for each in FAILURES), results.total()),
        )
        for name, results in groups.items()
    ]
    return tuple(sorted(made, key=lambda each: (each.name is None, -each.failed.whole, each.name or "")))


def _files(run: RunFacts, decided: Mapping[str, int]) -> tuple[FileTotals, ...]:
    """The rows of every file, checked to add up.

    Raises:
        BedjointError: they do not.
    """
    rejected: Counter[str] = Counter()
    for refusal in run.rejected:
        rejected[refusal.file] += refusal.rows
    unknown = sorted({*rejected, *decided} - {each.file for each in run.files})
    if unknown:
        raise BedjointError(f"rows of files that were not taken in: {', '.join(unknown)}")
    found = []
    for each in run.files:
        judged, refused = decided.get(each.file, 0), rejected[each.file]
        if each.rows != judged + refused + each.repeated:
            raise BedjointError(
                f"{each.file}: {each.rows} rows were taken in, but {judged} were decided, {refused} rejected "
                f"and {each.repeated} repeated"
            )
        found.append(
            FileTotals(
                file=each.file,
                digest=each.digest,
                rows=each.rows,
                decided=judged,
                rejected=refused,
                repeated=each.repeated,
            )
        )
    return tuple(found)


def _most_first(counted: Counter[Any]) -> list[tuple[Any, int]]:
    return sorted(counted.items(), key=lambda item: (-item[1], str(item[0])))
