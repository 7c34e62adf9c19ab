"""Proofs of the properties written beside the rules; a broken one comes with a survey that breaks it."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import z3

from engine.audit.asking import Asking
from engine.audit.cases import Case
from engine.audit.findings import Finding, Looked
from engine.audit.properties import Property
from engine.audit.witness import Done, Unreal, Witness, filled, witness_by
from engine.audit.words import listed
from engine.facts.values import UNKNOWN_VALUE, Value, in_words
from engine.facts.vocabulary import facts
from engine.inference.evaluate import evaluate
from engine.inference.truth import Truth
from engine.proof.decisions import Encoder
from engine.proof.less_known import LessKnown, less_known
from engine.proof.logic import Formula, all_of, any_of, negated, within
from engine.readings.compute import compute_readings


def property_findings(ask: Asking, properties: tuple[Property, ...]) -> tuple[list[Finding], list[Looked]]:
    """Properties that some survey breaks; for one that could not be settled, a note."""
    found: list[Finding] = []
    before = len(ask.unsettled)
    forgetful: _Forgetful | None = None
    with within(ask.wall.context):
        encoder = Encoder(ask.base, ask.wall.space.cells)
        encoder.run()
    for each in properties:
        if each.bold:
            forgetful = forgetful or _Forgetful(ask)
            found += forgetful.broken(each)
        else:
            found += _broken(ask, encoder, each)
        ask.progress(each.id)
    for text in ask.unsettled[before:]:
        says = f"Whether a property holds could not be settled: {text}."
        subject = text.partition(":")[0].removeprefix("property ")
        found.append(Finding(check="property-not-settled", group="proof", level="error", subject=subject, says=says))
    if not properties:
        says = "Nothing is written of what must hold in every survey: there is no properties.yaml beside the rules."
        found.append(Finding(check="property-none", group="proof", level="warning", subject="properties", says=says))
    says = "every property written beside the rules holds in every survey"
    looked = Looked(
        check="property",
        group="proof",
        says=says,
        looked_at=len(properties),
        unsettled=tuple(ask.unsettled[before:]),
    )
    return found, [looked]


def _finding(each: Property, says: str, survey: str) -> Finding:
    return Finding(
        check="property",
        group="proof",
        level="error",
        subject=each.id,
        at=each.at,
        says=says,
        survey=survey,
    )


def _broken(ask: Asking, encoder: Encoder, each: Property) -> list[Finding]:
    when, then = each.when, each.then
    assert when is not None
    with within(ask.wall.context):
        formula = encoder.truths(when)[0]
        if then is not None:
            formula = all_of((formula, negated(encoder.truths(then)[0])))

    def breaks(case: Case) -> bool:
        view = case.view
        return view.truth(when) is Truth.TRUE and (then is None or view.truth(then) is not Truth.TRUE)

    witness = ask.shown(f"property {each.id}", formula, breaks)
    return [] if witness is None else [_finding(each, f"Broken: {each.says} The survey given breaks it.", witness.text)]


class _Forgetful:
    """Pairs of surveys of one wall, of which the second knows less."""

    def __init__(self, ask: Asking) -> None:
        self._ask = ask
        self._less: LessKnown = less_known(ask.wall)
        self._solver: z3.Solver = z3.Solver(ctx=ask.wall.context)
        self._solver.set("random_seed", 0)
        self._solver.set("phase_selection", 0)
        self._solver.add(*ask.wall.space.constraints, *self._less.constraints)

    def broken(self, each: Property) -> list[Finding]:
        by_choice: dict[str, list[str]] = {}
        for choice, option in each.bold:
            by_choice.setdefault(choice, []).append(option)
        return [finding for choice, options in by_choice.items() if (finding := self._of_choice(each, choice, options))]

    def _of_choice(self, each: Property, choice: str, options: list[str]) -> Finding | None:
        ask = self._ask

        def comes_to(decided: Mapping[str, Mapping[str, Formula]]) -> Formula:
            return any_of(decided[choice][option] for option in options)

        with within(ask.wall.context):
            formula = all_of((comes_to(self._less.decided.options), negated(comes_to(ask.decided.options))))
        forgotten: list[str] = []

        def option_of(values: dict[str, Value]) -> str:
            return evaluate(ask.base, values).outcomes[choice].option

        def bolder(values: dict[str, Value], names: list[str]) -> bool:
            if not all(values[name].known for name in names):
                return False
            return option_of(self._without(values, names)) in options and option_of(values) not in options

        def judge(model: z3.ModelRef) -> Done:
            names = list(self._less.forgotten(ask.wall, model))
            forgotten[:] = names
            return lambda values: bolder(values, names)

        try:
            witness = witness_by(ask.wall, self._solver, formula, judge)
        except RuntimeError:
            ask.unsettled.append(f"property {each.id}: the solver gave up")
            return None
        if isinstance(witness, Unreal):
            ask.unsettled.append(f"property {each.id}: neither proved nor shown by a survey")
            return None
        if witness is None:
            return None
        found = self._said(each, choice, witness, self._fewest(witness, forgotten, bolder))
        several = len({of for of, _ in each.bold}) > 1
        return found.model_copy(update={"subject": f"{each.id} {choice}"}) if several else found

    @staticmethod
    def _fewest(
        witness: Witness, forgotten: list[str], bolder: Callable[[dict[str, Value], list[str]], bool]
    ) -> list[str]:
        names = list(forgotten)
        for name in forgotten:
            fewer = [other for other in names if other != name]
            if fewer and bolder(dict(witness.values), fewer):
                names = fewer
        return names

    def _without(self, values: Mapping[str, Value], names: list[str]) -> dict[str, Value]:
        known = {name: UNKNOWN_VALUE if name in names else values[name] for name in facts() if values[name].known}
        kept = filled({name: value for name, value in known.items() if value.known})
        wall = self._ask.wall
        return {**kept, **compute_readings(kept, wall.now.survey_year, wall.figures)}

    def _said(self, each: Property, choice: str, witness: Witness, names: list[str]) -> Finding:
        values = dict(witness.values)
        one = evaluate(self._ask.base, values)
        other = evaluate(self._ask.base, self._without(values, names))
        known = listed([f"{name} {in_words(values[name].value)}" for name in names])
        gone = sorted(one.fired - other.fired)
        return _finding(
            each,
            f"Broken: {each.says} In the survey given {choice} is {one.outcomes[choice].option}; without {known} it is "
            f"{other.outcomes[choice].option}.",
            witness.text,
        ).model_copy(update={"rules": tuple(gone)})
