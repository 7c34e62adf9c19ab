"""Plants one error in a made-up job: a recommendation that differs, or a row that cannot be read.

What is planted is chosen by what the rules say of the wall, never by name, so that it goes with any version.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

from archive_expected import DIFFERS, cheaper_standing, expected, found_of
from archive_jobs import NO_MEDIUM, Job, in_order, installed_as, judge_of
from archive_walls import resolved

from engine.facts.amend import as_written
from engine.facts.consistency import ORDERS, TOGETHER, Has, Order, Together
from engine.facts.contradictions import of_values
from engine.facts.resolve import applies
from engine.facts.values import NOT_APPLICABLE_VALUE, Scalar, State, Value
from engine.facts.vocabulary import Variable, facts
from engine.inference.view import View
from engine.practice.draw import Draw
from engine.practice.judge import standing_option
from engine.rulebase.conditions import UNDECIDED
from engine.rulebase.model import STAGES
from engine.rulebase.rules import RuleBase

Cells = dict[str, Any]
"""One wall as it is written: by our columns, values as JSON has them, sets as lists or `none`, rows as lists."""
Rejected = tuple[str, Any]
"""The column at fault, and what stands in it."""

_INSTALLED_SO = 0.7
_TOLD = 0.85
RAGGED, BROKEN = "#ragged", "#broken"
"""Marks in the cells for what only a layout can do wrong."""


# ---------------------------------------------------------------- recommendations that differ


def _options(base: RuleBase, choices: tuple[str, ...] = ()) -> Iterator[tuple[str, str]]:
    for choice in base.choices.values():
        if not choices or choice.id in choices:
            yield from ((choice.id, option.id) for option in choice.options)


def _recommending(job: Job, draw: Draw, why: str, grade: str | None = None, *choices: str) -> Job | None:
    """Recommends an option that differs in that way."""
    base, evaluation = judge_of(job.version).base, job.evaluation
    assert evaluation is not None
    found = [
        (choice, option)
        for choice, option in _options(base, choices)
        for of in (found_of(base, evaluation, choice, option),)
        if of.why == why and grade in (None, of.grade)
    ]
    return _recommended(job, draw, *_one(base, draw, found)) if found else None


def _one(base: RuleBase, draw: Draw, found: Sequence[tuple[str, str]]) -> tuple[str, str]:
    """One of the options, of what a client is told rather than of what leads there."""
    verdict = STAGES.index(base.choices["verdict"].stage)
    told = [each for each in found if STAGES.index(base.choices[each[0]].stage) >= verdict]
    return draw.one(told if told and draw.chance(_TOLD) else found)


def _recommended(job: Job, draw: Draw, choice: str, option: str) -> Job:
    job = replace(job, recommended={**job.recommended, choice: option})
    if choice != "medium" or not draw.chance(_INSTALLED_SO):
        return job
    bare = replace(job, installed=None, installed_on=None, result=None, result_on=None)
    return bare if option == NO_MEDIUM else installed_as(bare, option, draw)


def ruled_out(grade: str) -> Callable[[Job, Draw], Job | None]:
    """An option that a rule of that strength rules out."""
    return lambda job, draw: _recommending(job, draw, "ruled_out", grade)


def unsupported(choice: str) -> Callable[[Job, Draw], Job | None]:
    """An option that nothing speaks for."""
    return lambda job, draw: _recommending(job, draw, "unsupported", None, choice)


def later_option(job: Job, draw: Draw) -> Job | None:
    """An option that stands but comes later in the order."""
    return _recommending(job, draw, "later")


def over_specified(job: Job, draw: Draw) -> Job | None:
    """A medium that stands, beside a cheaper one that stands too."""
    base, evaluation = judge_of(job.version).base, job.evaluation
    assert evaluation is not None
    found = [
        option
        for choice, option in _options(base, ("medium",))
        if cheaper_standing(base, evaluation, {choice: option})
        and found_of(base, evaluation, choice, option).finding == DIFFERS
    ]
    return _recommended(job, draw, "medium", draw.one(found)) if found else None


def verdict_and_what_follows(job: Job, draw: Draw) -> Job | None:
    """A verdict that differs, and beside it what the rules would say of the rest if it were right."""
    base, evaluation = judge_of(job.version).base, job.evaluation
    assert evaluation is not None
    options = [
        option
        for choice, option in _options(base, ("verdict",))
        if found_of(base, evaluation, choice, option).finding == DIFFERS
    ]
    if not options or not all(outcome.settled for outcome in evaluation.outcomes.values()):
        return None
    view = View(evaluation.values, {name: each.option for name, each in evaluation.outcomes.items()})
    view.found = {name: held.now for name, held in evaluation.sets.items()}
    view.decided["verdict"] = draw.one(options)
    recommended = {**job.recommended, "verdict": view.decided["verdict"]}
    for stage in STAGES[STAGES.index(base.choices["verdict"].stage) + 1 :]:
        for choice in base.choices_of[stage]:
            option = standing_option(base, choice.id, view)
            view.decided[choice.id] = option
            if option != UNDECIDED:
                recommended[choice.id] = option
            else:
                recommended.pop(choice.id, None)
    differing = [n for n, o in recommended.items() if found_of(base, evaluation, n, o).finding == DIFFERS]
    if len(differing) < 2:
        return None
    bare = replace(job, recommended=recommended, installed=None, installed_on=None, result=None, result_on=None)
    medium = recommended.get("medium", NO_MEDIUM)
    return bare if medium == NO_MEDIUM else installed_as(bare, medium, draw)


def left_out(*sets: str, grade: str | None = None) -> Callable[[Job, Draw], Job | None]:
    """A member that belongs there whatever is found out is not named."""

    def plant(job: Job, draw: Draw) -> Job | None:
        base, evaluation = judge_of(job.version).base, job.evaluation
        assert evaluation is not None
        found = []
        for name in sets or tuple(base.sets):
            held = evaluation.sets[name]
            for member in in_order(base, name, held.now & held.sure):
                rest = tuple(each for each in in_order(base, name, held.now) if each != member)
                changed = replace(job, members={**job.members, name: rest})
                of = expectation(changed)["sets"][name]
                if of["left_out"] == [member] and grade in (None, of["left_out_grade"]):
                    found.append(changed)
        return draw.one(found) if found else None

    return plant


def beyond(job: Job, draw: Draw) -> Job | None:
    """A work that nothing asks for."""
    base, evaluation = judge_of(job.version).base, job.evaluation
    assert evaluation is not None
    held = evaluation.sets["works"]
    rest = [member for member in base.members["works"] if member not in held.now | held.sure | held.may]
    if not rest:
        return None
    works = in_order(base, "works", {*held.now, draw.one(rest)})
    return replace(job, members={**job.members, "works": works})


def installed_other(job: Job, draw: Draw) -> Job | None:
    """Installed was what the rules decide against."""
    base, evaluation = judge_of(job.version).base, job.evaluation
    assert evaluation is not None
    if evaluation.outcomes["medium"].option in (NO_MEDIUM, UNDECIDED):
        return None
    found = [
        option
        for choice, option in _options(base, ("medium",))
        if option != NO_MEDIUM and found_of(base, evaluation, choice, option).finding == DIFFERS
    ]
    if not found:
        return None
    changed = installed_as(replace(job, result=None, result_on=None), draw.one(found), draw)
    return changed if changed.installed != job.installed else None


def not_decidable(job: Job, draw: Draw) -> Job | None:
    """An option that what is not known may still bring."""
    base, evaluation = judge_of(job.version).base, job.evaluation
    assert evaluation is not None
    found = [
        (name, option)
        for name, outcome in evaluation.outcomes.items()
        for option in outcome.possible
        if option not in (outcome.option, UNDECIDED)
    ]
    return replace(job, recommended={**job.recommended, **dict([_one(base, draw, found)])}) if found else None


def expectation(job: Job) -> dict[str, Any]:
    """All that a check has to find at a job."""
    assert job.evaluation is not None
    return expected(judge_of(job.version).base, job.evaluation, job.recommended, job.members, job.installed)


FINDINGS: Mapping[str, Callable[[Job, Draw], Job | None]] = {
    "ruled_out_must": ruled_out("must"),
    "ruled_out_should": ruled_out("should"),
    "ruled_out_consider": ruled_out("consider"),
    "unsupported_verdict": unsupported("verdict"),
    "unsupported_medium": unsupported("medium"),
    "later_option": later_option,
    "over_specified": over_specified,
    "verdict_and_what_follows": verdict_and_what_follows,
    "left_out_work": left_out("works"),
    "left_out_caution": left_out("cautions"),
    "left_out_notice": left_out("notices"),
    "left_out_test": left_out("tests"),
    "left_out_must": left_out(grade="must"),
    "beyond_work": beyond,
    "installed_other": installed_other,
    "not_decidable": not_decidable,
}


# ---------------------------------------------------------------- rows that cannot be read


def cells_of(job: Job) -> Cells:
    """A job as it is written, by our columns; what is not recorded is left out."""
    written: Cells = {
        "reference": job.reference,
        "survey_date": job.survey_date,
        "wall": job.wall,
        "surveyor": job.surveyor,
        "note": job.note,
        **{name: as_written(value) for name, value in job.facts.items()},
        **{f"recommended.{name}": option for name, option in job.recommended.items()},
        **{f"recommended.{n}": list(m) or "none" for n, m in job.members.items() if m is not None},
        "installed.medium": job.installed,
        "installed.on": job.installed_on,
        "outcome.result": job.result,
        "outcome.on": job.result_on,
    }
    return {name: value for name, value in written.items() if value is not None}


def _misspelt(word: str, draw: Draw, allowed: tuple[str, ...]) -> str:
    while True:
        at = draw.below(len(word))
        wrong = word[:at] + draw.one("aeiounrst") + word[at + draw.below(2) :]
        if wrong not in (*allowed, "unknown", "none"):
            return wrong


def _known(cells: Cells, kind: str) -> list[Variable]:
    return [variable for name, variable in facts().items() if name in cells and variable.kind == kind]


def out_of_limits(cells: Cells, job: Job, draw: Draw) -> Rejected | None:
    """A number beyond what may stand there."""
    variable = draw.one(_known(cells, "number"))
    assert variable.ge is not None
    assert variable.le is not None
    far = 1 + draw.below(50)
    number = variable.le + far if draw.chance(0.5) else variable.ge - far
    cells[variable.name] = int(number) if variable.whole else number
    return variable.name, cells[variable.name]


def misspelt_option(cells: Cells, job: Job, draw: Draw) -> Rejected | None:
    """A word that is nearly one of the options."""
    variable = draw.one(_known(cells, "choice"))
    cells[variable.name] = _misspelt(cells[variable.name], draw, variable.options)
    return variable.name, cells[variable.name]


def not_a_number(cells: Cells, job: Job, draw: Draw) -> Rejected | None:
    """Words in place of a number."""
    variable = draw.one(_known(cells, "number"))
    cells[variable.name] = draw.one(("n/k", "see sketch", f"about {cells[variable.name]}", f"{cells[variable.name]} ?"))
    return variable.name, cells[variable.name]


def does_not_apply(cells: Cells, job: Job, draw: Draw) -> Rejected | None:
    """A fact that another one says there cannot be."""
    values = resolved(job.facts)
    found = [
        variable
        for name, variable in facts().items()
        if values[name].state is State.NOT_APPLICABLE and variable.kind in ("choice", "number", "yes_no")
    ]
    if not found:
        return None
    variable = draw.one(found)
    if variable.kind == "choice":
        cells[variable.name] = draw.one(variable.options)
    elif variable.kind == "yes_no":
        cells[variable.name] = draw.chance(0.5)
    else:
        assert variable.ge is not None
        cells[variable.name] = int(variable.ge) if variable.whole else float(variable.ge)
    return variable.name, cells[variable.name]


def contradiction(cells: Cells, job: Job, draw: Draw) -> Rejected | None:
    """Two facts that cannot be true together."""
    for pair in draw.shuffled((*ORDERS, *TOGETHER)):
        changed = _in_order(pair, job.facts) if isinstance(pair, Order) else _together(pair, job.facts, draw)
        blamed = pair.small if isinstance(pair, Order) else pair.blame
        if changed is None or not _blames(changed, job.survey_date.year, blamed):
            continue
        for name, value in changed.items():
            if job.facts.get(name) != value:
                cells[name] = as_written(value)
        return blamed, cells[blamed]
    return None


def _in_order(pair: Order, held: Mapping[str, Scalar]) -> dict[str, Scalar] | None:
    great, variable = held.get(pair.great), facts()[pair.small]
    if not isinstance(great, int | float) or pair.small not in held:
        return None
    assert variable.le is not None
    number = min(great + 7, variable.le)
    return {**held, pair.small: int(number) if variable.whole else float(number)}


def _together(pair: Together, held: Mapping[str, Scalar], draw: Draw) -> dict[str, Scalar] | None:
    if pair.when.fact not in held or pair.then.fact not in held:
        return None
    other = [value for value in _values(facts()[pair.then.fact]) if value not in pair.then.values]
    return {**held, pair.when.fact: _having(pair.when), pair.then.fact: draw.one(other)} if other else None


def _having(has: Has) -> Scalar:
    value = has.values[0]
    return frozenset((value,)) if facts()[has.fact].kind == "set" and isinstance(value, str) else value


def _values(variable: Variable) -> tuple[Scalar, ...]:
    if variable.kind == "yes_no":
        return (False, True)
    return variable.options if variable.kind == "choice" else (120,) if variable.kind == "number" else ()


def _blames(held: Mapping[str, Scalar], year: int, blamed: str) -> bool:
    """Whether everything given applies and that fact alone is called a contradiction."""
    values: dict[str, Value] = {}
    for name, variable in facts().items():
        if applies(variable, values) is False:
            if name in held:
                return False
            values[name] = NOT_APPLICABLE_VALUE
        else:
            values[name] = Value(State.KNOWN, held[name]) if name in held else Value(State.UNKNOWN)
    return {".".join(map(str, path[:2])) for path, *_ in of_values(values, year)} == {blamed}


def impossible_date(cells: Cells, job: Job, draw: Draw) -> Rejected | None:
    """A day that no calendar has."""
    cells["survey_date"] = f"{job.survey_date.year}-{draw.one(('02-30', '04-31', '13-01', '00-12'))}"
    return "survey_date", cells["survey_date"]


def future_date(cells: Cells, job: Job, draw: Draw) -> Rejected | None:
    """A day that has not come."""
    cells["survey_date"] = job.survey_date.replace(year=job.survey_date.year + 60 + draw.below(9), day=1)
    return "survey_date", cells["survey_date"]


def missing(column: str) -> Callable[[Cells, Job, Draw], Rejected | None]:
    """No word of which job or which wall it is."""

    def plant(cells: Cells, job: Job, draw: Draw) -> Rejected | None:
        del cells[column]
        return column, ""

    return plant


def bad_set_member(cells: Cells, job: Job, draw: Draw) -> Rejected | None:
    """A member that the set does not have."""
    sets = _known(cells, "set")
    if not sets:
        return None
    variable = draw.one(sets)
    members = [] if cells[variable.name] == "none" else list(cells[variable.name])
    cells[variable.name] = [*members, _misspelt(draw.one(variable.options), draw, variable.options)]
    return variable.name, cells[variable.name][-1]


def misspelt_recommended(cells: Cells, job: Job, draw: Draw) -> Rejected | None:
    """A recommended option that no version has."""
    if not job.recommended:
        return None
    choice = draw.one(sorted(job.recommended))
    options = tuple(option.id for option in judge_of(job.version).base.choices[choice].options)
    name = f"recommended.{choice}"
    cells[name] = _misspelt(cells[name], draw, options)
    return name, cells[name]


def unknown_work(cells: Cells, job: Job, draw: Draw) -> Rejected | None:
    """A recommended work that no version has."""
    works = list(job.members.get("works") or ())
    wrong = draw.one(("tank_wall", "hack_off_render", "paint_masonry", "second_coat"))
    cells["recommended.works"] = [*works, wrong]
    return "recommended.works", wrong


def ragged_row(cells: Cells, job: Job, draw: Draw) -> Rejected | None:
    """More cells or fewer than there are headers."""
    cells[RAGGED] = draw.one(("long", "short"))
    return "", ""


def broken_line(cells: Cells, job: Job, draw: Draw) -> Rejected | None:
    """Text that is no JSON, or no YAML."""
    cells[BROKEN] = True
    return "", ""


def repeated_row(cells: Cells, job: Job, draw: Draw) -> Rejected | None:
    """The same wall of the same survey once more, further down."""
    return "", ""


REJECTED: Mapping[str, Callable[[Cells, Job, Draw], Rejected | None]] = {
    "out_of_limits": out_of_limits,
    "misspelt_option": misspelt_option,
    "not_a_number": not_a_number,
    "does_not_apply": does_not_apply,
    "contradiction": contradiction,
    "impossible_date": impossible_date,
    "future_date": future_date,
    "missing_reference": missing("reference"),
    "missing_wall": missing("wall"),
    "bad_set_member": bad_set_member,
    "misspelt_recommended": misspelt_recommended,
    "unknown_work": unknown_work,
    "ragged_row": ragged_row,
    "broken_line": broken_line,
    "repeated_row": repeated_row,
}
REPEATED = "repeated_row"
_RARE = {"ragged_row": 1.2, "broken_line": 2.0}
"""More often where they can be, since few layouts have them."""
_TYPED = frozenset(("misspelt_option", "not_a_number", "impossible_date", "bad_set_member"))
"""What typed columns cannot hold."""


def kinds_for(layout: str, several_walls: bool) -> dict[str, float]:
    """The kinds of error a layout can have, and how often one is planted against the others.

    A survey file is read whole or not at all, so one with several walls has no row that cannot be read.
    """
    found = dict.fromkeys(FINDINGS, 1.0)
    if layout == "yaml" and several_walls:
        return found
    found |= dict.fromkeys(REJECTED, 0.6)
    if layout != "csv":
        del found["ragged_row"]
    if layout not in ("jsonl", "yaml"):
        del found["broken_line"]
    if layout == "yaml":
        del found[REPEATED]
    if layout == "parquet":
        found = {kind: odds for kind, odds in found.items() if kind not in _TYPED}
    return found
