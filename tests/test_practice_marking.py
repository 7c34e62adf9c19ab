"""Marks: what agrees, what follows, which rules were missed or misread, what was asked for nothing."""

import pytest

from cli.practice_setup import WORKS, practice_cases
from engine.facts.values import State
from engine.facts.vocabulary import facts
from engine.practice.attempt import Attempt, could_matter, following
from engine.practice.draw import Draw
from engine.practice.marking import marked, shown
from engine.practice.model import CaseResult
from engine.practice.settings import LEVELS, MINUTES

CASES = practice_cases(None, None)
BASE = CASES.base
CHOICES = CASES.subject.choices


def right(attempt):
    """Answer everything as the rules do."""
    for choice in CHOICES:
        if attempt.follows(choice) is None:
            attempt.answers[choice] = attempt.case.evaluation.outcomes[choice].option
    attempt.works = attempt.case.called_for
    return attempt


def attempts(count, level=None):
    for seed in range(count):
        yield Attempt(CASES, CASES.case(seed, level or seed % len(LEVELS) + 1, 1))


def with_verdict(verdict, level=3):
    return next(a for a in attempts(40, level) if a.case.evaluation.outcomes["verdict"].option == verdict)


def marks(result):
    return {each.choice: each.mark for each in result.choices}


def test_right_answers_and_the_facts_that_decide_get_full_marks():
    for attempt in attempts(15):
        for name in CASES.deciding(attempt.case):
            attempt.ask(name)
        result = marked(right(attempt))
        assert result.score == 1.0
        assert set(marks(result).values()) <= {"right", "follows"}
        assert not result.works.missed
        assert not result.works.superfluous
        assert result.asking.wasted == 0
        assert all(not rule.reading for choice in result.choices for rule in choice.brings)


def test_nothing_answered_gets_nothing():
    for attempt in attempts(5):
        result = marked(attempt)
        assert "right" not in marks(result).values()
        assert result.works.score == 0.0
        assert not result.works.answered
        assert result.score == 0.0


def test_what_follows_from_the_verdict_is_not_asked_and_not_marked():
    attempt = with_verdict("treat")
    attempt.answers["verdict"] = "investigate"
    lines = [each for each in CHOICES if each.startswith("line_")]
    assert [attempt.follows(each) for each in lines] == ["no_line"] * len(lines)
    assert attempt.follows("medium") == "no_medium"
    assert attempt.follows("rising_damp") is None
    attempt.answers["verdict"] = "treat"
    assert attempt.follows("medium") is None
    assert all(attempt.follows(each) is None for each in lines)


def test_a_wrong_verdict_costs_once():
    plaster = set()
    for attempt in attempts(25):
        if attempt.case.evaluation.outcomes["verdict"].option != "treat":
            continue
        right(attempt)
        attempt.answers |= {"verdict": "remove_cause", "plaster": "wait"}
        found = marks(marked(attempt))
        assert found["verdict"] == "wrong"
        assert {found[each] for each in CHOICES if each.startswith("line_") or each == "medium"} == {"follows"}
        plaster.add(found["plaster"])
    # What the rules would say of the plaster, had the verdict been as answered.
    assert "follows" in plaster


def test_treating_a_wall_that_is_not_to_be_treated_costs_once():
    attempt = right(with_verdict("specialist"))
    attempt.answers |= {"verdict": "treat", "medium": "cream", "line_run": "level"}
    found = marks(marked(attempt))
    assert found["verdict"] == "wrong"
    assert found["medium"] == found["line_run"] == "follows"


def test_a_wrong_answer_is_told_the_rules_on_both_sides():
    seen = set()
    for attempt in attempts(30):
        right(attempt)
        draw = Draw(attempt.case.check)
        for choice in CHOICES:
            if attempt.follows(choice) is None:
                options = [option.id for option in BASE.choices[choice].options]
                attempt.answers[choice] = draw.one([o for o in options if o != attempt.answers.get(choice)])
        for mark in marked(attempt).choices:
            if mark.mark != "wrong":
                continue
            fired = attempt.case.evaluation.fired
            assert all(rule.id in fired for rule in (*mark.brings, *mark.against))
            assert all((mark.choice, mark.answer) in BASE.by_id[rule.id].rules_out for rule in mark.against)
            # Something is always said of why the answer does not stand.
            assert mark.against or mark.lacking or mark.behind
            seen.update(name for name in ("against", "lacking", "behind") if getattr(mark, name))
            if mark.lacking:
                rule = BASE.by_id[mark.lacking.rule]
                assert (mark.choice, mark.answer) in rule.supports
                assert rule.id not in fired
                assert mark.lacking.fails
            for rule in (*mark.brings, *mark.against):
                assert rule.reading == ("missed" if rule.unseen else "misread")
                assert set(rule.unseen) <= set(attempt.case.hidden)
    assert seen == {"against", "lacking", "behind"}


def test_a_rule_is_missed_until_its_facts_are_asked_for():
    attempt = next(
        a
        for a in attempts(60, 5)
        if a.case.turns_on in a.case.hidden
        and a.case.flips[0] == "medium"
        and facts()[a.case.turns_on].kind == "choice"
    )
    wrong = attempt.case.twin.outcomes["medium"].option

    def rules():
        right(attempt)
        attempt.answers["medium"] = wrong
        mark = next(each for each in marked(attempt).choices if each.choice == "medium")
        assert mark.mark == "wrong"
        return mark

    before = rules()
    assert attempt.case.turns_on in before.not_asked
    missed = [rule for rule in (*before.brings, *before.against) if attempt.case.turns_on in rule.unseen]
    assert all(rule.reading == "missed" for rule in missed)
    for name in attempt.case.hidden:
        attempt.ask(name)
    after = rules()
    assert after.not_asked == ()
    assert {rule.reading for rule in (*after.brings, *after.against)} == {"misread"}


def test_works_are_marked_by_what_was_found_missed_and_superfluous():
    attempt = next(a for a in attempts(40) if len(a.case.called_for) >= 3)
    more = [each for each in attempt.case.offered if each not in attempt.case.called_for]
    attempt.works = (*attempt.case.called_for[1:], *more[:2])
    works = marked(attempt).works
    found, total = len(attempt.case.called_for) - 1, len(attempt.case.called_for) + 2
    assert works.score == pytest.approx(found / total, abs=1e-4)
    assert [each.work for each in works.missed] == [attempt.case.called_for[0]]
    assert {each.work for each in works.superfluous} == set(more[:2])
    assert all(each.rules for each in (*works.found, *works.missed))
    assert all(each.lacking or each.rules for each in works.superfluous)


def test_none_is_an_answer_to_the_works_and_skipping_is_not():
    attempt = next(attempts(1))
    attempt.works = ()
    assert marked(attempt).works.answered
    assert marked(attempt).works.score == (0.0 if attempt.case.called_for else 1.0)
    attempt.works = None
    assert not marked(attempt).works.answered
    assert marked(attempt).works.score == 0.0


def test_asking_costs_by_effort_and_never_shows_more_than_it_should():
    for attempt in attempts(10):
        hidden = set(attempt.case.hidden)
        assert all(attempt.seen[name].state is State.UNKNOWN for name in hidden)
        for name in attempt.to_ask():
            before = attempt.minutes
            state = attempt.seen[name].state
            asked = attempt.ask(name)
            value = attempt.case.values[name]
            assert asked.value == value
            if value.known:
                assert name in hidden
                assert attempt.minutes - before == MINUTES[facts()[name].effort]
            elif value.state is State.UNKNOWN or state is State.NOT_APPLICABLE:
                assert attempt.minutes == before
            else:
                assert attempt.minutes - before in MINUTES.values()
        assert attempt.to_ask() == []
        seen = attempt.seen
        assert {n for n in facts() if seen[n].known} == {n for n in facts() if attempt.case.values[n].known}


def test_a_fact_in_front_of_the_trainee_cannot_be_asked_for():
    attempt = next(attempts(1))
    shown_already = next(name for name in facts() if attempt.seen[name].known)
    with pytest.raises(KeyError):
        attempt.ask(shown_already)
    name = attempt.to_ask()[0]
    attempt.ask(name)
    with pytest.raises(KeyError):
        attempt.ask(name)


def test_what_could_not_matter_cannot_change_an_answer():
    """Held to every completion tried: a fact said not to matter leaves each choice as it is, whatever the rest is."""
    found = 0
    for attempt in attempts(20, 5):
        draw = Draw("completions", attempt.case.check)
        for name in draw.shuffled(attempt.to_ask())[:12]:
            seen = attempt.seen
            evaluation = CASES.evaluation(attempt.case, seen)
            if not could_matter(CASES, evaluation, name):
                found += 1
                known = {**seen, name: attempt.case.values[name]}
                after = CASES.evaluation(attempt.case, known)
                for choice in CHOICES:
                    assert after.outcomes[choice].possible == evaluation.outcomes[choice].possible
                assert after.sets[WORKS].now == evaluation.sets[WORKS].now
            attempt.ask(name)
    assert found


def test_minutes_on_what_could_not_matter_are_named_and_lower_the_mark():
    for attempt in attempts(15, 5):
        right(attempt)
        for name in attempt.to_ask():
            attempt.ask(name)
        result = marked(attempt).asking
        wasted = [each for each in result.asked if each.use == "could not matter"]
        assert result.wasted == sum(each.minutes for each in wasted)
        assert result.minutes == sum(each.minutes for each in result.asked)
        assert result.not_asked == ()
        assert result.score is None or (result.score < 1) is bool(result.wasted)


def test_the_twin_says_what_it_would_be_on_the_other_side():
    for attempt in attempts(10):
        twin = marked(attempt).twin
        assert twin.here != twin.there
        assert twin.kept_back is attempt.case.level.deciding_hidden
        assert [each.choice for each in twin.answers] == list(attempt.case.flips)
        assert all(each.here != each.there for each in twin.answers)


def test_following_takes_no_fact_for_known():
    assert following(BASE, "rising_damp", {}) is None
    assert following(BASE, "plaster", {"verdict": "treat"}) is None
    assert following(BASE, "medium", {}) is None
    for option in BASE.choices["verdict"].options:
        follows = following(BASE, "medium", {"verdict": option.id})
        assert (follows == "no_medium") is (option.id != "treat")


def test_a_result_survives_json():
    result = marked(right(next(attempts(1))))
    assert CaseResult.model_validate_json(result.model_dump_json()) == result
    assert "certifies nothing" in result.limits


def test_a_value_is_shown_with_its_unit_unless_the_name_says_it():
    attempt = with_verdict("treat")
    values = attempt.case.values
    assert shown("build.thickness_mm", values["build.thickness_mm"]).endswith(" mm")
    year = next(
        a.case.values["earlier_treatment.year"] for a in attempts(60) if a.case.values["earlier_treatment.year"].known
    )
    assert shown("earlier_treatment.year", year) == str(year.value)
