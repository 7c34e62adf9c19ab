"""Judges a survey under a rule base: one decision per wall, with everything it rests on."""

from __future__ import annotations

import datetime as dt
from collections import deque
from collections.abc import Collection, Mapping, Sequence
from importlib.metadata import version

from engine.decision.chain import CERTAINTIES, WORDS, Link, link, strength
from engine.decision.digest import facts_digest
from engine.decision.grounds import grounds, now_view
from engine.decision.model import (
    Assessment,
    Assumed,
    ChoiceDecided,
    Citation,
    Heading,
    Item,
    ItemsFound,
    NotTaken,
    ProfilePoint,
    ReadingTaken,
    RuleApplied,
    RuleCited,
    RuleSetUsed,
    Status,
    WallDecided,
)
from engine.decision.open_questions import open_questions, what_matters
from engine.facts.intake import SurveyFile
from engine.facts.survey import Wall
from engine.facts.values import Value, in_words
from engine.inference.agree import agreed
from engine.inference.evaluate import Evaluation, Outcome, evaluate
from engine.readings.compute import compute_readings, samples_in
from engine.readings.profile import deep_profile
from engine.readings.vocabulary import READINGS
from engine.rulebase.conditions import UNDECIDED
from engine.rulebase.model import Choice
from engine.rulebase.reading_figures import reading_figures
from engine.rulebase.rules import Rule, RuleBase

LIMITS = (
    "This advises; it certifies nothing. Local codes, the maker's instructions and licensed practice come first. "
    "It judges what was written down, not the wall."
)


def assess(
    file: SurveyFile,
    base: RuleBase,
    as_of: dt.date,
    walls: Collection[str] | None = None,
    changed: tuple[str, ...] = (),
) -> Assessment:
    """Judge every wall of a survey, or those named. `changed` says which of its facts are not as they were surveyed.

    Raises:
        ReadersDisagree: durable-rules and the evaluator came to different conclusions.

    """
    chosen = [wall for wall in file.survey.walls if walls is None or wall.id in walls]
    return Assessment(
        **dict(heading(file, base, as_of, changed)), walls=tuple(_decide_wall(file, wall, base) for wall in chosen)
    )


def heading(file: SurveyFile, base: RuleBase, as_of: dt.date, changed: Sequence[str] = ()) -> Heading:
    """What was judged, and by what. `changed` says which facts are not as they were surveyed."""
    return Heading(
        engine=f"bedjoint {version('bedjoint')}",
        file=file.name,
        reference=file.survey.property.reference,
        survey_date=file.survey.property.survey_date,
        as_of=as_of,
        rule_set=RuleSetUsed(
            version=base.manifest.version, in_force_from=base.manifest.in_force_from, digest=base.digest
        ),
        facts_digest=facts_digest(file.survey),
        limits=LIMITS,
        changed=tuple(changed),
    )


def evaluate_wall(file: SurveyFile, wall: Wall, base: RuleBase, *, exactly: bool = True) -> Evaluation:
    """Facts, readings and rules of one wall, checked against durable-rules where it is installed.

    What is still possible is exact (see `engine.proof.exact`); not `exactly`, it is the evaluator's own bound, which
    may call open what is settled.

    Raises:
        ReadersDisagree: the two readers differ.

    """
    for judged in _recent:
        if judged[0] is file and judged[1] is wall and judged[2] is base and judged[3] is exactly:
            return judged[4]
    values = file.values_of(wall)
    year, figures = file.survey.property.survey_date.year, reading_figures(base.tables)
    values.update(compute_readings(values, year, figures))
    evaluation = evaluate(base, values)
    agreed(base, values, evaluation)
    if exactly and not evaluation.settled:
        # Loaded only where something is open: the solver is a good part of the time a single answer takes.
        from engine.proof.exact import exact

        evaluation = exact(base, evaluation, year)
    _recent.append((file, wall, base, exactly, evaluation))
    return evaluation


_recent: deque[tuple[SurveyFile, Wall, RuleBase, bool, Evaluation]] = deque(maxlen=8)
"""The walls evaluated last: a decision and its schedule ask for the same one."""


def _decide_wall(file: SurveyFile, wall: Wall, base: RuleBase) -> WallDecided:
    evaluation = evaluate_wall(file, wall, base)
    reach = what_matters(base, evaluation, file.survey.property.survey_date.year)
    links: dict[str, Link] = {}
    choices = tuple(
        choice_decided(choice, evaluation.outcomes[choice.id], base, evaluation, reach, links)
        for choice in base.choices.values()
    )
    return WallDecided(
        wall=wall.id,
        note=wall.note,
        status=wall_status(evaluation),
        choices=choices,
        sets=tuple(set_found(name, base, evaluation) for name in base.sets),
        open_questions=open_questions(base, evaluation, reach),
        readings=_readings(evaluation.values),
        assumed=_assumed(evaluation.values),
        rules=_applied(base, evaluation),
        profile=_profile(evaluation.values),
    )


def wall_status(evaluation: Evaluation) -> Status:
    """The status of a wall: that of its most open choice."""
    statuses = {outcome.status for outcome in evaluation.outcomes.values()}
    return "undecided" if UNDECIDED in statuses else "provisional" if "provisional" in statuses else "settled"


def _applied(base: RuleBase, evaluation: Evaluation) -> tuple[RuleApplied, ...]:
    view = now_view(evaluation)
    return tuple(
        RuleApplied(**dict(rule_cited(rule, base)), grounds=grounds(rule.when, evaluation, view))
        for stage in base.by_stage.values()
        for rule in stage
        if rule.id in evaluation.fired
    )


def rule_cited(rule: Rule, base: RuleBase) -> RuleCited:
    """A rule with its grade and its sources looked up."""
    return RuleCited(
        id=rule.id,
        title=rule.title,
        stage=rule.stage,
        word=rule.word,
        because=rule.raw.because,
        limits=rule.raw.limits,
        basis=rule.raw.basis,
        strength=rule.raw.strength,
        certainty=rule.raw.certainty,
        follows=rule.raw.follows,
        against=rule.raw.against,
        cites=citations(rule, base),
        where=rule.where,
    )


def citations(rule: Rule, base: RuleBase) -> tuple[Citation, ...]:
    """A rule's citations with their sources looked up."""
    return tuple(
        Citation(
            source=cite.source,
            short=(source := base.sources[cite.source]).short,
            title=source.title,
            kind=source.kind,
            edition=source.edition,
            seen=source.seen,
            superseded_by=source.superseded_by,
            withdrawn=source.withdrawn,
            clause=cite.clause,
            says=cite.says,
        )
        for cite in rule.cites
    )


def choice_decided(
    choice: Choice,
    outcome: Outcome,
    base: RuleBase,
    evaluation: Evaluation,
    reach: Mapping[str, frozenset[str]],
    links: dict[str, Link] | None = None,
) -> ChoiceDecided:
    """The decision on one choice, with what it rests on and what was not taken.

    `reach` is from `what_matters`; `links` are those of the earlier choices, to which this one's is added.
    """
    says = {option.id: option.says for option in choice.options}
    fired = [rule for rule in base.by_stage[choice.stage] if rule.id in evaluation.fired]
    taken_by = [rule.id for rule in fired if (choice.id, outcome.option) in rule.supports]
    if not taken_by:  # an open option stands because what comes before it was ruled out
        before = [option.id for option in choice.options]
        before = before[: before.index(outcome.option)] if outcome.option in before else before
        taken_by = [r.id for r in fired if any((choice.id, option) in r.rules_out for option in before)]
    strongest = min(
        (rule for rule in fired if rule.id in taken_by),
        key=strength,
        default=None,
    )
    by = [rule for rule in fired if rule.id in taken_by]
    this = link(choice.id, by, links or {}, evaluation, now_view(evaluation))
    if links is not None:
        links[choice.id] = this
    weaker = strongest is not None and this.certainty > CERTAINTIES.index(strongest.raw.certainty)
    return ChoiceDecided(
        choice=choice.id,
        title=choice.title,
        stage=choice.stage,
        option=outcome.option,
        says=says.get(
            outcome.option,
            "undecided: no option stands on what is known; see what rules each out, and the tests asked for",
        ),
        status=outcome.status,
        possible=outcome.possible,
        unproved=outcome.unproved,
        word=strongest.word if strongest else None,
        certainty=strongest.raw.certainty if strongest else None,
        rules=tuple(taken_by),
        rests_on=tuple(name for name in this.weakest if name != choice.id) if weaker else (),
        rests_on_certainty=CERTAINTIES[this.certainty] if weaker else None,
        not_taken=tuple(
            _not_taken(choice, option.id, option.says, option.open, fired)
            for option in choice.options
            if option.id != outcome.option
        ),
        open_facts=tuple(fact for fact, choices in reach.items() if choice.id in choices),
    )


def _not_taken(choice: Choice, option: str, says: str, is_open: bool, fired: list[Rule]) -> NotTaken:
    against = tuple(rule.id for rule in fired if (choice.id, option) in rule.rules_out)
    support = tuple(rule.id for rule in fired if (choice.id, option) in rule.supports)
    if against:
        return NotTaken(option=option, says=says, why="ruled_out", rules=against)
    if is_open or support:
        return NotTaken(option=option, says=says, why="stands_behind", rules=support)
    return NotTaken(option=option, says=says, why="not_supported", rules=())


def set_found(name: str, base: RuleBase, evaluation: Evaluation) -> ItemsFound:
    """The members of one set, each with its rules, in the order of the catalogue."""
    held, members = evaluation.sets[name], base.members[name]
    order = sorted(members, key=lambda member: (members[member].order, member))
    items = []
    for member in order:
        if member not in held.now:
            continue
        rules = [r for r in base.rules if (name, member) in r.adds and r.id in evaluation.fired]
        word = min((rule.word for rule in rules), key=WORDS.index)
        items.append(
            Item(
                id=member,
                says=members[member].says,
                detail=members[member].detail,
                word=word,
                settled=member in held.sure,
                rules=tuple(rule.id for rule in rules),
            )
        )
    might = tuple(member for member in order if member in held.may and member not in held.now)
    return ItemsFound(set=name, title=base.sets[name].title, items=tuple(items), might_be_added=might)


def _readings(values: Mapping[str, Value]) -> tuple[ReadingTaken, ...]:
    return tuple(
        ReadingTaken(
            name=name,
            question=variable.question,
            value=in_words(values[name].value),
            unit=variable.unit,
            how=variable.how,
            where=values[name].where,
        )
        for name, variable in READINGS.items()
        if values[name].known
    )


def _profile(values: Mapping[str, Value]) -> tuple[ProfilePoint, ...]:
    def rounded(percent: float | None) -> float | None:
        return None if percent is None else round(percent, 2)

    return tuple(
        ProfilePoint(
            height_mm=sample.height_mm,
            mc_percent=round(sample.mc_percent, 2),
            hmc_percent=rounded(sample.hmc_percent),
            excess_percent=rounded(sample.excess_percent),
        )
        for sample in deep_profile(samples_in(values))
    )


def _assumed(values: Mapping[str, Value]) -> tuple[Assumed, ...]:
    return tuple(
        Assumed(
            fact=name,
            value=in_words(value.value),
            established=value.established,
            by=value.by,
            where=value.where,
        )
        for name, value in values.items()
        if value.established in ("assumed", "reported")
    )
