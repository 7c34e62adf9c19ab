"""The tree of reasons as text and as Markdown, and the lines that other answers on a survey are made of."""

from __future__ import annotations

import pathlib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from cli.changed_surveys import not_as_surveyed
from cli.terminal import Page
from cli.wording import SEEN, sentence
from engine.decision.model import Heading
from engine.reasoning.reason_model import (
    Below,
    ChoiceReason,
    Conclusion,
    ConditionReason,
    CutHere,
    GroupReason,
    MemberReason,
    Met,
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
)

WIDTH = 80
LEGEND = "Marks: + true, - false, ? not known; in brackets: without bearing on the result."
_MARKS = {"true": "+", "false": "-", "unknown": "?"}
_TRUTHS = {"true": "true", "false": "false", "unknown": "not known"}
_STYLES = {"true": "green", "false": "red", "unknown": "yellow"}
STATUS_STYLES = {"settled": "bold green", "provisional": "bold yellow", "undecided": "bold red"}
_DEEPEST_INDENT = 36
_KEPT_BY_SHOWN = 3
_CUT_SHOWN = 6
_FACTS_SHOWN = 12


@dataclass(frozen=True, slots=True)
class Line:
    """One paragraph of an outline: how deep it stands, its mark, its text, and a style for the mark."""

    level: int
    mark: str
    text: str
    style: str = ""


def as_text(reasons: Reasons, *, plain: bool = False) -> str:
    """The tree, indented; `plain` without colours whatever the terminal."""
    page = Page(plain=plain, piped_width=WIDTH)
    for index, wall in enumerate(reasons.walls):
        if index:
            page.line("-" * 72)
        head(page, reasons, wall.wall, wall.note)
        outline = _Outline()
        for conclusion in wall.conclusions:
            page.blank()
            show(page, outline.conclusion(conclusion))
        page.blank()
    for line in _ends(reasons):
        page.line(line)
    return page.text()


def as_markdown(reasons: Reasons) -> str:
    """The tree as nested lists."""
    parts: list[str] = []
    for wall in reasons.walls:
        parts += markdown_head(reasons, wall.wall, wall.note)
        outline = _Outline()
        for conclusion in wall.conclusions:
            first, *rest = outline.conclusion(conclusion)
            title = first.text if first.mark == ">" else f"{first.mark} {first.text}"
            parts += [f"## {bare(title)}", "", *markdown(rest, 1), ""]
    for line in _ends(reasons):
        parts += [bare(line), ""]
    return "\n".join(parts)


def _ends(reasons: Reasons) -> Iterator[str]:
    yield LEGEND
    names = list(dict.fromkeys(name for wall in reasons.walls for name in wall.cut))
    if names:
        left = len(names) - _CUT_SHOWN
        more = f" and {left} more" if left > 0 else ""
        shown = ", ".join(names[:_CUT_SHOWN])
        yield f"Deeper than --depth {reasons.depth}, and left out: the reasons of {shown}{more}."
    yield reasons.limits


def head(page: Page, of: Heading, wall: str, note: str | None) -> None:
    """The heading of one wall."""
    page.line(f"Wall {wall}, survey {of.reference} of {of.survey_date}", "bold")
    page.line(f"{of.file}; judged by rules {of.rule_set.version} as of {of.as_of}")
    if of.changed:
        page.line(not_as_surveyed(of.changed))
    if note:
        page.line(note)


def markdown_head(of: Heading, wall: str, note: str | None) -> list[str]:
    """The heading of one wall, in Markdown."""
    lines = [f"# Wall {bare(wall)}, survey {bare(of.reference)} of {of.survey_date}", ""]
    lines += [f"{bare(of.file)}; judged by rules {of.rule_set.version} as of {of.as_of}.", ""]
    if of.changed:
        lines += [bare(not_as_surveyed(of.changed)), ""]
    return [*lines, bare(note), ""] if note else lines


def show(page: Page, lines: Iterable[Line]) -> None:
    """Lines on a page; what wraps stays beside its mark."""
    for line in lines:
        indent = min(2 * line.level, _DEEPEST_INDENT)
        if line.mark:
            page.rows([(line.mark, line.text, line.style)], len(line.mark), indent=indent)
        elif indent:
            page.rows([("", line.text, "")], 0, indent=indent - 1)  # the empty label takes one column
        else:
            page.line(line.text)


def markdown(lines: Iterable[Line], start: int = 0) -> Iterator[str]:
    """Lines as a nested list."""
    for line in lines:
        mark = f"{line.mark} " if line.mark in ("", ">", "-") else f"`{line.mark}` "
        mark = "" if line.mark in ("", ">", "-") else mark
        yield f"{'  ' * (line.level - start)}- {mark}{bare(line.text)}"


def bare(text: str) -> str:
    """Text that stands as it is in Markdown."""
    from cli.render_markdown import escaped

    return escaped(text)


def in_a_row(words: Sequence[str], last: str = "and") -> str:
    """Words in a row: a, b and c."""
    return f"{', '.join(words[:-1])} {last} {words[-1]}" if len(words) > 1 else "".join(words)


def brings(of: RuleHead) -> str:
    """What a rule brings where it holds."""
    kinds = (("supports", of.supports), ("rules out", of.rules_out), ("adds", of.adds))
    return "; ".join(f"{verb} {in_a_row(what)}" for verb, what in kinds if what)


def grade_lines(of: RuleHead, level: int) -> Iterator[Line]:
    """How far a rule can be trusted, its limits, and its sources."""
    basis = of.basis.replace("_", " ")
    yield Line(level, "", f"Grade: {of.word}; {basis}, {of.strength}, {of.certainty} certainty.")
    if of.limits:
        yield Line(level, "", f"Limits: {of.limits}")
    for cite in of.cites:
        stance = "followed, " if cite.source == of.follows else "set aside, " if cite.source in of.against else ""
        said = any(words in cite.says for words in ("as reported by", "from memory"))
        seen = f" [{SEEN[cite.seen]}]" if SEEN[cite.seen] and not said else ""
        clause = f", {cite.clause}" if cite.clause else ""
        yield Line(level, "", f"Source: {stance}{cite.short}{clause}: {cite.says}{seen}")


def needed(phrase: str) -> str:
    """What a condition needs, as the end of a sentence."""
    return f"must not {phrase.removeprefix('not to ')}" if phrase.startswith("not to ") else f"needs {phrase}"


class Told:
    """Puts what was met into words: how a fact was established is told the first time, then only where it stands."""

    def __init__(self) -> None:
        self._told: set[str] = set()

    def met(self, of: Met, *, brief: bool = False) -> str:
        """A variable with its value and place; `brief` leaves out how it was established."""
        if of.state == "unknown":
            return f"{of.variable} is not known"
        if of.state == "does not apply":
            why = "" if brief or of.variable in self._told or not of.because else f" ({of.because})"
            self._told.add(of.variable)
            return f"{of.variable} does not apply{why}"
        if of.variable.startswith("decided."):
            return f"{of.variable} is {of.value} [{of.established}]"
        if of.established == "computed":
            return f"{of.variable} is {of.value}"
        place = _short(of.where)
        if not brief and of.variable not in self._told:
            self._told.add(of.variable)
            noted = ": ".join(part for part in (of.established, of.by) if part)
            place = ", ".join(part for part in (place, noted) if part)
        return f"{of.variable} is {of.value}{f' ({place})' if place else ''}"


def _short(where: str) -> str:
    """A place without the folders: the heading names the file in full."""
    return where if where.startswith("--") else pathlib.PurePath(where).name


class _Outline:
    """The lines of one wall, from top to bottom."""

    def __init__(self) -> None:
        self._told = Told()

    def conclusion(self, of: Conclusion) -> Iterator[Line]:
        match of:
            case ChoiceReason():
                yield from self._choice(of, 0)
            case OptionReason():
                yield from self._option(of, 0)
            case RuleReason():
                said = {"true": "holds", "false": "does not hold", "unknown": "is not known to hold"}
                yield from self._rule(of, 0, f"{said[of.holds]}; it {brings(of)}")
            case MemberReason():
                yield from self._member(of, 0)
            case SeenAbove():
                yield Line(0, ">", f"{of.id}: see above", "bold")

    def _choice(self, of: ChoiceReason, level: int) -> Iterator[Line]:
        """A choice: what it came to, what supports that, and why nothing before it stands."""
        grade = f"; {of.word}, {of.certainty} certainty" if of.word else ""
        more = "" if of.says == of.option.replace("_", " ") else f": {of.says}"
        says = f"{of.choice} is {of.option}{more} [{of.status}{grade}]"
        yield Line(level, ">", says, STATUS_STYLES[of.status])
        inner = level + 1
        others = [option for option in of.possible if option != of.option]
        if others:
            shown, left = of.open_facts[:_FACTS_SHOWN], len(of.open_facts) - _FACTS_SHOWN
            facts = ", ".join(shown) + (f" and {left} more" if left > 0 else "")
            yield Line(inner, "", f"Could still become {in_a_row(others, 'or')}. Open: {facts or 'earlier decisions'}.")
        if of.is_open and not of.supported_by:
            yield Line(inner, "", f"{of.option} stands unless a rule rules it out, and no rule that holds does.")
        for rule in of.supported_by:
            yield from self._rule(rule, inner, f"supports {of.option}")
        yield from self._all_before(of, inner)
        if of.also_stand:
            behind = f"Behind it {in_a_row(of.also_stand)} would stand too."
            yield Line(inner, "", f"{behind} The order: {of.order_because}")

    def _all_before(self, of: ChoiceReason, level: int) -> Iterator[Line]:
        """Why each option before the one taken does not stand; those that fall to the same rules seen, together."""
        run: list[str] = []
        for index, option in enumerate(of.before):
            run.append(option.option)
            seen = _all_seen(option)
            if seen and index + 1 < len(of.before) and _all_seen(of.before[index + 1]) == seen:
                continue
            many = len(run) > 1
            if of.status == "undecided":
                comes = f"{in_a_row(run)} {'do' if many else 'does'} not stand"
            else:
                comes = f"{in_a_row(run)} {'come' if many else 'comes'} before it in the order"
            if seen:
                out = f"{'are' if many else 'is'} ruled out by {in_a_row(seen)}; see above."
                yield Line(level, "", f"{comes}, and {out}")
            else:
                yield from self._before(option, comes, level)
            run = []

    def _before(self, of: OptionBefore, comes: str, level: int) -> Iterator[Line]:
        if of.why == "ruled_out":
            yield Line(level, "", f"{comes}, and is ruled out:")
            for rule in of.rules:
                yield from self._rule(rule, level + 1, f"rules out {of.option}")
        elif of.cut:
            yield Line(level, "", f"{comes}; {_no_rule(of.cut.rules, 'support')} ({in_a_row(of.cut.rules)}).")
        elif of.absent:
            yield Line(level, "", f"{comes}; {_no_rule(of.absent, 'support')}:")
            yield from self._absent(of.absent, level + 1)
        else:
            yield Line(level, "", f"{comes}; it needs support, and there is no rule that could give it.")

    def _absent(self, rules: Sequence[RuleAbsent | SeenAbove], level: int) -> Iterator[Line]:
        """Rules that do not hold, with what keeps them from holding; those shown above in one line together."""
        for rule in rules:
            if isinstance(rule, SeenAbove):
                continue
            kept = rule.kept_by[:_KEPT_BY_SHOWN]
            said = "; ".join(f"{self._told.met(each.met, brief=True)}, {needed(each.needs)}" for each in kept)
            left = len(rule.kept_by) - len(kept)
            more = f"; and {left} more" if left else ""
            yield Line(level, f"{_MARKS[rule.holds]} {rule.id}", f"{rule.title}. {said}{more}.", _STYLES[rule.holds])
            for each in rule.kept_by:
                if each.below and not isinstance(each.below, SeenAbove | CutHere):
                    yield from self._below(each.below, level + 1)
        seen = [rule.id for rule in rules if isinstance(rule, SeenAbove)]
        if seen:
            yield Line(level, "", f"see above: {', '.join(seen)}")

    def _option(self, of: OptionReason, level: int) -> Iterator[Line]:
        yield Line(level, ">", f"{of.choice} is {of.taken}, not {of.option} ({of.says}).", "bold")
        inner = level + 1
        if of.possible:
            yield Line(inner, "", "It could still become this once the open facts are known.")
        if of.is_open:
            yield Line(inner, "", f"{of.option} stands unless a rule rules it out.")
        elif not of.supported_by:
            yield Line(inner, "", f"{of.option} needs support, and no rule that would support it holds.")
        for rule in of.supported_by:
            yield from self._rule(rule, inner, f"supports {of.option}")
        for rule in of.ruled_out_by:
            yield from self._rule(rule, inner, f"rules out {of.option}")
        if of.why == "stands_behind":
            yield Line(inner, "", f"{of.option} would stand; {of.taken} comes before it in the order.")
        yield Line(inner, "", f"All that stands in its way: bedjoint why-not, with {of.choice}={of.option}.")

    def _member(self, of: MemberReason, level: int) -> Iterator[Line]:
        status = "settled" if of.settled else "provisional" if of.found else "might still be added"
        grade = f"; {of.word}" if of.word else ""
        said = "is" if of.found else "is not"
        yield Line(level, ">", f"{of.member} {said} in {of.set}: {of.says} [{status}{grade}]", "bold")
        for rule in of.rules:
            yield from self._rule(rule, level + 1, f"adds {of.member}")
        if of.cut:
            yield Line(level + 1, "", f"{sentence(_no_rule(of.cut.rules, 'add'))} ({in_a_row(of.cut.rules)}).")
        elif of.absent:
            yield Line(level + 1, "", f"{sentence(_no_rule(of.absent, 'add'))}:")
            yield from self._absent(of.absent, level + 2)
        elif not of.found:
            yield Line(level + 1, "", "No rule adds it.")

    def _rule(self, of: RuleReason | SeenAbove, level: int, does: str) -> Iterator[Line]:
        if isinstance(of, SeenAbove):
            yield Line(level, of.id, f"{does}; see above", "bold")
            return
        yield Line(level, of.id, f"{does}. {of.title}.", "bold")
        inner = level + 1
        yield Line(inner, "", f"Because: {of.because}")
        yield from grade_lines(of, inner)
        yield Line(inner, "", "Because here:" if of.holds == "true" else "What it asks for:")
        yield from self._condition(of.condition, inner, top=True)

    def _condition(self, of: ConditionReason, level: int, *, top: bool = False) -> Iterator[Line]:
        mark, style = _mark(of.truth, of.decisive)
        if isinstance(of, TestReason) or (of.needs and of.met):
            yield from self._one_variable((of,), level)
            return
        if not of.decisive:
            yield Line(level, mark, f"{_in_words(of)}: {_TRUTHS[of.truth]}", style)
            return
        heading, parts = _group(of)
        if of.same_as:
            yield Line(level, mark, f"the same group as in {of.same_as}, see above: {_TRUTHS[of.truth]}", style)
            return
        if not (top and of.kind == "all"):
            yield Line(level, mark, f"{heading}: {_TRUTHS[of.truth]}", style)
            level += 1
        for several in _gathered(parts, of.kind == "all"):
            if len(several) > 1:
                yield from self._one_variable(several, level)
            else:
                yield from self._condition(several[0], level)

    def _one_variable(self, parts: Sequence[ConditionReason], level: int) -> Iterator[Line]:
        """What is asked of one variable, on one line, and below it what its value came from."""
        met = parts[0].met
        assert met is not None
        said = [part.needs or "" for part in parts]
        if said[0] == "to be known" and len(said) > 1:
            said = [f"known to be {said[1]}", *said[2:]]
        wanted = " and ".join(said)
        truths = {part.truth for part in parts}
        truth = next((each for each in ("false", "unknown") if each in truths), "true")
        decisive = any(part.decisive for part in parts if part.truth == truth)
        below = next((test.below for part in parts for test in _tests(part) if test.below), None)
        mark, style = _mark(truth, decisive)
        asked = ", as needed" if wanted == met.value else f"; {needed(wanted)}"
        yield Line(level, mark, f"{self._told.met(met)}{asked}: {_TRUTHS[truth]}{_aside(below)}", style)
        if below:
            yield from self._below(below, level + 1)

    def _below(self, of: Below, level: int) -> Iterator[Line]:
        match of:
            case ChoiceReason():
                yield from self._choice(of, level)
            case SetReason():
                for member in of.members:
                    if isinstance(member, SeenAbove):
                        yield Line(level, ">", f"{member.id}: see above")
                    else:
                        yield from self._member(member, level)
            case ReadingReason():
                inputs = "; ".join(self._told.met(each) for each in of.inputs)
                never = " All that it takes is known, and it still cannot be computed." if of.for_good else ""
                yield Line(level, "", f"Computed: {of.how}. From {inputs}.{never}")


def _all_seen(of: OptionBefore) -> tuple[str, ...]:
    """The ids of the rules that rule an option out, where all of them are shown above."""
    seen = tuple(rule.id for rule in of.rules if isinstance(rule, SeenAbove))
    return seen if len(seen) == len(of.rules) else ()


def _no_rule(rules: Sequence[object], does: str) -> str:
    if len(rules) == 1:
        return f"the one rule that would {does} it does not hold"
    return f"none of the {len(rules)} rules that would {does} it holds"


def _mark(truth: str, decisive: bool) -> tuple[str, str]:
    return (_MARKS[truth], _STYLES[truth]) if decisive else (f"({_MARKS[truth]})", "dim")


def _gathered(parts: Sequence[ConditionReason], together: bool) -> Iterator[tuple[ConditionReason, ...]]:
    """The parts of a group; those of one variable that follow each other and all are needed, as one."""
    run: list[ConditionReason] = []
    for part in parts:
        same = run and together and part.met and run[0].met and part.met.variable == run[0].met.variable
        if run and not same:
            yield tuple(run)
            run = []
        run.append(part)
    if run:
        yield tuple(run)


def _aside(below: Below | None) -> str:
    """What is said at the end of a line of what lies below it, where nothing more is shown of that."""
    if isinstance(below, SeenAbove):
        return "; see above"
    return "; reasons left out" if isinstance(below, CutHere) else ""


def _tests(of: ConditionReason) -> Iterator[TestReason]:
    if isinstance(of, TestReason):
        yield of
    else:
        for part in of.parts:
            yield from _tests(part)


def _group(of: GroupReason) -> tuple[str, tuple[ConditionReason, ...]]:
    if of.kind != "not":
        return ("all of these are needed" if of.kind == "all" else "one of these is enough"), of.parts
    inner = of.parts[0] if of.parts else None
    if isinstance(inner, GroupReason) and inner.kind == "any":
        return "none of these may be true", inner.parts
    if isinstance(inner, GroupReason) and inner.kind == "all":
        return "these may not all be true", inner.parts
    return "this may not be true", of.parts


def _in_words(of: ConditionReason) -> str:
    """A condition without bearing, on one line."""
    if isinstance(of, TestReason) or (of.needs and of.met):
        assert of.met is not None
        return f"{of.met.variable} {of.needs}"
    if of.same_as:
        return f"the same group as in {of.same_as}"
    if of.kind == "not":
        return f"not ({_in_words(of.parts[0])})"
    return f"{of.kind} of ({'; '.join(_in_words(part) for part in of.parts)})"
