"""Findings: what the rules say of every wall beside what was recommended and what was installed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import polars as pl

from engine.archive.agreement_masks import (
    WORD_BITS,
    Words,
    both,
    either,
    gathered,
    looked_up,
    named,
    never,
    only_where,
    some,
    within,
    without,
    words_of,
)
from engine.archive.agreement_rules import GRADES, ChoiceMasks, SetMasks, option_names, rule_masks
from engine.archive.job import FAILURES
from engine.archive.relative_cost import relative_cost
from engine.rulebase.conditions import UNDECIDED
from engine.rulebase.rules import RuleBase

MEDIUM = "medium"
"""The choice that what was installed is held against."""
VERDICT = "verdict"

FINDING = pl.Enum(["agree", "differs", "not_decidable", "not_recorded"])
GRADE = pl.Enum(GRADES)
WORST = pl.Enum([*GRADES, "not_decidable", "agree", "not_recorded"])
STATUS = pl.Enum(["settled", "provisional", "undecided"])

_AGREE, _DIFFERS, _NOT_DECIDABLE, _NOT_RECORDED = range(4)
_NO_GRADE = len(GRADES)
_MOST_COUNTED = 31
_COUNT_BITS = 5


@dataclass(frozen=True, slots=True)
class _Point:
    """A recommended option beside the decided one: places in the two enumerations, rules as bits, by row."""

    finding: pl.Series
    grade: pl.Series
    against: Words
    stands: pl.Series
    brings: Words

    @property
    def differs(self) -> pl.Series:
        return self.finding == _DIFFERS


def agreement(flat: pl.DataFrame, judged: pl.DataFrame, base: RuleBase) -> pl.DataFrame:
    """The findings of every wall, a row each, in the order given.

    Args:
        flat: a wall a row; of it `recommended.*`, `installed.medium` and `outcome.result` are read. One that is not
            there is as good as all null.
        judged: what the rules say of these walls, as `engine.columns.judge` gives it, of the same height and order.
        base: the rules that judged.

    A choice: what was recommended agrees where it is what is decided now. It is not decidable where open facts could
    still bring it, or nothing is decided. Otherwise it differs, as gravely as the strongest rule that rules it out
    says; where none does and no rule supports it, as the strongest rule that brings the decision; where it stands and
    only comes later in the order, there is no more than something to consider. `against.*` are those rules.

    A set: left out is what belongs in it whatever is still found out and was not recommended, as gravely as the
    strongest rule says that adds it and reads no decision which differs: what only follows from a difference has no
    grade of its own. `called_for_now` is what belongs in it on what is known, was not recommended, and may yet drop
    out: it is not decidable. `beyond` is what was recommended and no open fact can bring; that is against no rule.

    `primary` are the choices that differ where none of the rules against them reads an earlier decision that differs,
    or that was not agreed on and itself came of one that differs. `over_specified` names the cheapest medium that
    stands where a dearer one that stands as well was recommended and the verdict is not in dispute. `worst` is the
    strongest grade; without any, `not_decidable` if anything is, else `agree` if anything was recorded. `severity`
    orders walls by `worst`, then recorded failures first, then by how many points are of each grade, those that merely
    follow not counted.
    """
    return _Agreement(flat, judged, base).frame()


class _Agreement:
    def __init__(self, flat: pl.DataFrame, judged: pl.DataFrame, base: RuleBase) -> None:
        self._flat, self._judged, self._base = flat, judged, base
        self._height = judged.height
        self._masks = rule_masks(base)
        rules = self._masks.rules
        self._fired = gathered(
            judged,
            {place: f"fired:{rule}" for place, rule in enumerate(rules)},
            range((len(rules) + WORD_BITS - 1) // WORD_BITS),
        )
        self._columns: dict[str, pl.Series] = {}
        self._points: dict[str, _Point] = {}
        self._unsound: dict[str, pl.Series] = {}
        self._primary: dict[str, pl.Series] = {}
        self._called_for: list[pl.Series] = []
        """By set the rows of which something called for now, but not surely, was not recommended."""
        self._counted: list[tuple[pl.Series, pl.Series]] = []
        """Grades to count, each with the rows on which it counts."""

    def frame(self) -> pl.DataFrame:
        columns = self._columns
        version = self._base.manifest.version
        columns["rules"] = pl.repeat(version, self._height, dtype=pl.String, eager=True)
        columns["status"] = self._status()
        for choice in self._masks.choices.values():
            self._choice(choice)
        self._apart = self._independent()
        for each in self._masks.sets.values():
            self._set(each)
        if MEDIUM in self._masks.choices:
            self._installed(self._masks.choices[MEDIUM])
        columns["over_specified"] = self._over_specified()
        names = list(self._primary)
        bits = gathered(pl.DataFrame(self._primary), dict(enumerate(names)), (0,) if names else ())
        columns["primary"] = named(bits, names, self._height)
        columns["worst"], columns["severity"] = self._worst()
        for word, fired in self._fired.items():
            columns[f"fired.{word}"] = fired
        return pl.DataFrame([each.alias(name) for name, each in columns.items()])

    def _status(self) -> pl.Series:
        undecided, open_ = never(self._height), never(self._height)
        for choice in self._masks.choices.values():
            undecided |= self._judged[f"decided.{choice.id}"] == UNDECIDED
            allowed = (self._judged[f"possible:{choice.id}:{option}"] for option in option_names(choice))
            open_ |= pl.select(pl.sum_horizontal(list(allowed))).to_series() != 1
        return _named(_pick([(undecided, 2), (open_, 1)], 0, self._height), STATUS)

    def _choice(self, choice: ChoiceMasks) -> None:
        name, columns = choice.id, self._columns
        recommended = self._given(f"recommended.{name}", pl.String())
        possible = self._possible(choice)
        point = self._point(choice, recommended, possible)
        self._points[name] = point
        depends = {earlier: mask for earlier, mask in choice.reads.items() if earlier in self._unsound}
        follows, shaken = never(self._height), never(self._height)
        for earlier, mask in depends.items():
            follows |= self._unsound[earlier] & some(within(point.against, mask), self._height)
            shaken |= self._unsound[earlier] & some(within(point.brings, mask), self._height)
        self._primary[name] = primary = point.differs & ~follows
        self._unsound[name] = point.differs | ((point.finding != _AGREE) & shaken)
        self._counted.append((point.grade, primary))
        columns[f"decided.{name}"] = self._judged[f"decided.{name}"].cast(pl.String)
        columns[f"possible.{name}"] = named(possible, option_names(choice), self._height)
        columns[f"recommended.{name}"] = recommended
        columns[f"finding.{name}"] = _named(point.finding, FINDING)
        columns[f"grade.{name}"] = _named(point.grade, GRADE)
        columns[f"against.{name}"] = named(point.against, self._masks.rules, self._height)

    def _given(self, name: str, dtype: pl.DataType) -> pl.Series:
        if name not in self._flat.columns:
            return pl.repeat(None, self._height, dtype=dtype, eager=True)
        return self._flat[name].cast(dtype)

    def _possible(self, choice: ChoiceMasks) -> Words:
        columns = {at: f"possible:{choice.id}:{option}" for at, option in enumerate(option_names(choice))}
        return gathered(self._judged, columns, (0,))

    def _point(self, choice: ChoiceMasks, given: pl.Series, possible: Words) -> _Point:
        """What was given for a choice, beside what is decided."""
        height, names = self._height, pl.Enum(option_names(choice))
        words = words_of(choice.rules)
        decided = self._judged[f"decided.{choice.id}"].cast(pl.String).cast(names).to_physical().cast(pl.UInt32)
        place = given.cast(names, strict=False).to_physical().cast(pl.UInt32).fill_null(choice.other)
        fired = {word: self._fired[word] for word in words}

        def holding(masks: tuple[int, ...], at: pl.Series) -> dict[int, pl.Series]:
            return both(looked_up(masks, at, words), fired)

        bit_of = [*(1 << at for at in range(choice.other)), 0]
        can_be = some(both(looked_up(bit_of, place, (0,)), possible), height)
        finding = _pick(
            [
                (given.is_null(), _NOT_RECORDED),
                (place == decided, _AGREE),
                (can_be | (decided == choice.undecided), _NOT_DECIDABLE),
            ],
            _DIFFERS,
            height,
        )
        differs = finding == _DIFFERS
        out = holding(choice.rules_out, place)
        is_out = some(out, height)
        is_open = pl.Series(choice.open, dtype=pl.Boolean).gather(place)
        stands = given.is_not_null() & ~is_out & (is_open | some(holding(choice.supports, place), height))
        support = holding(choice.supports, decided)
        brings = either(support, only_where(~some(support, height), holding(choice.out_before, decided)))
        by_decision = either(only_where(~stands, brings), only_where(stands, support))
        against = only_where(differs, either(only_where(is_out, out), only_where(~is_out, by_decision)))
        grade = _pick([(~differs, _NO_GRADE), (stands, len(GRADES) - 1)], self._strongest(against), height)
        return _Point(finding, grade, against, stands, brings)

    def _strongest(self, rules: Words) -> pl.Series:
        """The place of the strongest word of some rules; that of the weakest where there are none."""
        masks = self._masks.graded
        several = [(some(within(rules, masks[grade]), self._height), at) for at, grade in enumerate(GRADES[:-1])]
        return _pick(several, len(GRADES) - 1, self._height)

    def _set(self, each: SetMasks) -> None:
        name, height, columns = each.id, self._height, self._columns
        words = range((len(each.members) + WORD_BITS - 1) // WORD_BITS)
        now, sure, may = (
            gathered(self._judged, {at: f"{kind}:{name}:{m}" for at, m in enumerate(each.members)}, words)
            for kind in ("now", "sure", "may")
        )
        recommended = self._given(f"recommended.{name}", pl.List(pl.String()))
        recorded = recommended.is_not_null()
        given, others = self._recommended(each, recommended)
        left_out = only_where(recorded, without(both(now, sure), given))
        grade = self._left_out_grade(each, left_out)
        self._counted.append((grade, recorded))
        called_for = only_where(recorded, without(without(now, sure), given))
        self._called_for.append(some(called_for, height))
        columns[f"decided.{name}"] = named(now, each.members, height)
        columns[f"recommended.{name}"] = recommended
        columns[f"left_out.{name}"] = named(left_out, each.members, height)
        columns[f"left_out_grade.{name}"] = _named(grade, GRADE)
        columns[f"called_for_now.{name}"] = named(called_for, each.members, height)
        beyond = named(without(given, either(now, may)), each.members, height)
        columns[f"beyond.{name}"] = beyond if others is None else _joined(beyond, others)

    def _recommended(self, each: SetMasks, recommended: pl.Series) -> tuple[Words, pl.DataFrame | None]:
        """The members that were recommended, as bits; and what this version does not have, as `row` and `member`."""
        words = range((len(each.members) + WORD_BITS - 1) // WORD_BITS)
        rows = pl.DataFrame({"row": pl.int_range(self._height, dtype=pl.UInt32, eager=True), "member": recommended})
        pairs = rows.explode("member").drop_nulls("member")
        place = pairs["member"].cast(pl.Enum(each.members), strict=False).to_physical().cast(pl.UInt32)
        others = pairs.filter(place.is_null()).unique(maintain_order=True)
        bit_of = [*(1 << at for at in range(len(each.members))), 0]
        bits = looked_up(bit_of, place.fill_null(len(each.members)), words)
        packed = (
            pairs.select("row", *(word_bits.alias(str(word)) for word, word_bits in bits.items()))
            .group_by("row")
            .agg(pl.exclude("row").bitwise_or())
        )
        found = rows.select("row").join(packed, on="row", how="left", maintain_order="left")
        return {word: found[str(word)].fill_null(0) for word in words}, others if others.height else None

    def _independent(self) -> Words:
        """The rules that hold and read no decision which differs, or came of one that does."""
        found = dict(self._fired)
        for choice, mask in self._masks.reads.items():
            unsound = self._unsound.get(choice)
            if unsound is not None and mask:
                found = without(found, only_where(unsound, within(found, mask)))
        return found

    def _left_out_grade(self, each: SetMasks, left_out: Words) -> pl.Series:
        """The place of the strongest word of the rules that add what was left out and follow from no difference."""
        by_grade = [
            (some(both(left_out, self._added(each, self._masks.graded[grade])), self._height), at)
            for at, grade in enumerate(GRADES)
        ]
        return _pick(by_grade, _NO_GRADE, self._height)

    def _added(self, each: SetMasks, rules: int) -> Words:
        """The members that some of these rules add, of those that hold."""
        found = {word: pl.repeat(0, self._height, dtype=pl.UInt64, eager=True) for word in
                 range((len(each.members) + WORD_BITS - 1) // WORD_BITS)}  # fmt: skip
        for at, mask in enumerate(each.added_by):
            mask &= rules
            if mask:
                added = some(within(self._apart, mask), self._height)
                found[at // WORD_BITS] |= added.cast(pl.UInt64) * (1 << at % WORD_BITS)
        return found

    def _installed(self, medium: ChoiceMasks) -> None:
        columns = self._columns
        installed = self._given(f"installed.{MEDIUM}", pl.String())
        point = self._point(medium, installed, self._possible(medium))
        self._points["installed"] = point
        self._counted.append((point.grade, point.differs))
        columns["finding.installed"] = _named(point.finding, FINDING)
        columns["grade.installed"] = _named(point.grade, GRADE)
        columns["against.installed"] = named(point.against, self._masks.rules, self._height)
        columns["as_recommended"] = installed == columns[f"recommended.{MEDIUM}"]

    def _over_specified(self) -> pl.Series:
        """The cheapest option that stands where a dearer one that stands too was recommended."""
        cost = relative_cost()
        choice = self._masks.choices.get(cost.choice)
        found = pl.repeat(None, self._height, dtype=pl.String, eager=True)
        if choice is None:
            return found
        point, recommended = self._points[cost.choice], self._columns[f"recommended.{cost.choice}"]
        may_be = point.stands
        if VERDICT in self._points:
            may_be &= self._points[VERDICT].finding.is_in([_AGREE, _NOT_RECORDED])
        rank = recommended.replace_strict(cost.ranks, default=None, return_dtype=pl.Int64).fill_null(-1)
        for option, its_rank in reversed(list(cost.ranks.items())):
            if option in choice.options:
                stands = self._stands(choice, choice.options.index(option))
                found = _text_where(may_be & stands & (rank > its_rank), option, found)
        return found

    def _stands(self, choice: ChoiceMasks, at: int) -> pl.Series:
        supported = some(within(self._fired, choice.supports[at]), self._height)
        opposed = some(within(self._fired, choice.rules_out[at]), self._height)
        return ~opposed if choice.open[at] else supported & ~opposed

    def _worst(self) -> tuple[pl.Series, pl.Series]:
        height = self._height
        grades = [point.grade for point in self._points.values()]
        grades += [self._place(self._columns[f"left_out_grade.{name}"]) for name in self._masks.sets]
        worst = pl.select(pl.min_horizontal(grades)).to_series()
        not_decidable, recorded = never(height), never(height)
        for point in self._points.values():
            not_decidable |= point.finding == _NOT_DECIDABLE
            recorded |= point.finding != _NOT_RECORDED
        for called_for in self._called_for:
            not_decidable |= called_for
        for name in self._masks.sets:
            recorded |= self._columns[f"recommended.{name}"].is_not_null()
        places: list[tuple[pl.Series, int | pl.Series]] = [
            (worst < _NO_GRADE, worst),
            (not_decidable, _NO_GRADE),
            (recorded, _NO_GRADE + 1),
        ]
        place = _pick(places, _NO_GRADE + 2, height)
        return _named(place, WORST), self._severity(place)

    def _severity(self, worst: pl.Series) -> pl.Series:
        """Worst first, then a recorded failure, then how many points there are of each grade and how many are open."""
        failed = self._given("outcome.result", pl.String()).is_in(list(FAILURES)).fill_null(False)
        parts: list[tuple[pl.Series, int]] = [(len(WORST.categories) - 1 - worst, 3), (failed, 1)]
        for at in range(len(GRADES)):
            counted = [(grade == at) & where for grade, where in self._counted]
            parts.append((_count(counted, self._height), _COUNT_BITS))
        undecidable = [point.finding == _NOT_DECIDABLE for point in self._points.values()] + self._called_for
        parts.append((_count(undecidable, self._height), _COUNT_BITS))
        found = pl.repeat(0, self._height, dtype=pl.UInt32, eager=True)
        for each, bits in parts:
            found = found * (1 << bits) + each.cast(pl.UInt32)
        return found

    def _place(self, grade: pl.Series) -> pl.Series:
        return grade.to_physical().cast(pl.UInt8).fill_null(_NO_GRADE)


def _pick(cases: Sequence[tuple[pl.Series, int | pl.Series]], otherwise: int | pl.Series, height: int) -> pl.Series:
    """By row the number of the first case that holds."""

    def column(number: int | pl.Series) -> pl.Expr:
        return pl.lit(number) if isinstance(number, pl.Series) else pl.repeat(number, height, dtype=pl.UInt8)

    found = column(otherwise)
    for holds, number in reversed(cases):
        found = pl.when(holds).then(column(number)).otherwise(found)
    return pl.select(found.alias("")).to_series()


def _text_where(holds: pl.Series, text: str, otherwise: pl.Series) -> pl.Series:
    return pl.select(pl.when(holds).then(pl.lit(text)).otherwise(otherwise)).to_series()


def _named(places: pl.Series, words: pl.Enum) -> pl.Series:
    """The words of an enumeration by their places; one past the last is null."""
    return pl.Series([*words.categories, None], dtype=words).gather(places)


def _joined(lists: pl.Series, more: pl.DataFrame) -> pl.Series:
    """The lists, on some rows with more at their end; `more` has a row for each, with the `row` it goes to."""
    rows = pl.DataFrame({"row": pl.int_range(len(lists), dtype=pl.UInt32, eager=True), "lists": lists})
    ends = more.group_by("row", maintain_order=True).agg(pl.col("member"))
    both_lists = rows.join(ends, on="row", how="left", maintain_order="left")
    whole = pl.when(pl.col("member").is_null()).then("lists").otherwise(pl.concat_list("lists", "member"))
    return both_lists.select(whole.alias("")).to_series()


def _count(several: list[pl.Series], height: int) -> pl.Series:
    found = pl.repeat(0, height, dtype=pl.UInt32, eager=True)
    for each in several:
        found = found + each.cast(pl.UInt32)
    return found.clip(upper_bound=_MOST_COUNTED)
