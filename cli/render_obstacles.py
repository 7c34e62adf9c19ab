"""What stands in the way of an option, a rule or a member of a set, as text and as Markdown."""

from __future__ import annotations

import shlex
from collections.abc import Iterator, Sequence

from cli.render_reasons import (
    WIDTH,
    Line,
    Told,
    bare,
    brings,
    grade_lines,
    head,
    in_a_row,
    markdown,
    markdown_head,
    needed,
    show,
)
from cli.terminal import Page
from engine.reasoning.obstacle_model import (
    Answer,
    ChangeSaid,
    Leaving,
    MemberObstacles,
    NeedSaid,
    NoSupport,
    Obstacle,
    Obstacles,
    OneOfSaid,
    OptionObstacles,
    Route,
    RuleChanged,
    RuledOut,
    RuleObstacles,
    StandsBefore,
)

CAUTION = "Each change is weighed by itself, with all else as it is; what else is found may bring in other rules."
_VALUES_SHOWN = 8
_HOLDS = "bold green"


def as_text(of: Obstacles, *, plain: bool = False) -> str:
    """The obstacles of every wall; `plain` without colours whatever the terminal."""
    page = Page(plain=plain, piped_width=WIDTH)
    for index, wall in enumerate(of.walls):
        if index:
            page.line("-" * 72)
        head(page, of, wall.wall, wall.note)
        outline = _Outline()
        for each in (wall.answer, *wall.earlier):
            page.blank()
            show(page, outline.answer(each))
        page.blank()
    for line in _ends(of):
        page.line(line)
    return page.text()


def as_markdown(of: Obstacles) -> str:
    """The obstacles as nested lists."""
    parts: list[str] = []
    for wall in of.walls:
        parts += markdown_head(of, wall.wall, wall.note)
        outline = _Outline()
        for each in (wall.answer, *wall.earlier):
            first, *rest = outline.answer(each)
            parts += [f"## {bare(first.text)}", "", *markdown(rest, 1), ""]
    for line in _ends(of):
        parts += [bare(line), ""]
    return "\n".join(parts)


def _ends(of: Obstacles) -> Iterator[str]:
    if not all(_is_so(wall.answer) for wall in of.walls):
        yield f"{CAUTION} {_try_one(of)}"
    cut = list(dict.fromkeys(each for wall in of.walls for each in wall.cut))
    if cut:
        yield f"Deeper than --depth {of.depth}, and left out: what it takes for {in_a_row(cut)}."
    yield of.limits


def _try_one(of: Obstacles) -> str:
    for wall in of.walls:
        if wall.example is not None:
            only = f"--wall {shlex.quote(wall.wall)} " if of.walls[1:] else ""
            return f"To try one, add it, such as {only}--set {shlex.quote(wall.example)} to the command."
    return "To try one, add it to the command with --set."


def _named(name: str, says: str, between: str = ": ", end: str = "") -> str:
    """An id with its words, where they say more than it does."""
    return name if says.lower() in (name, name.replace("_", " ")) else f"{name}{between}{says}{end}"


def _is_so(of: Answer) -> bool:
    match of:
        case RuleObstacles():
            return of.is_held
        case OptionObstacles():
            return of.is_taken
        case MemberObstacles():
            return of.is_so
        case Leaving():
            return False


class _Outline:
    """The lines of one wall, from top to bottom. What was said in full is only referred to afterwards."""

    def __init__(self) -> None:
        self._told = Told()
        self._against: set[tuple[str, str]] = set()
        self._first: dict[str, str] = {}

    def answer(self, of: Answer) -> Iterator[Line]:
        match of:
            case OptionObstacles():
                yield from self._option(of)
            case Leaving():
                yield Line(0, ">", f"What would take {of.choice} away from {of.taken}:", "bold")
                yield from self._routes(of.routes, "It would change", 1)
            case RuleObstacles():
                yield from self._rule(of)
            case MemberObstacles():
                yield from self._member(of)

    def _option(self, of: OptionObstacles) -> Iterator[Line]:
        if of.is_taken:
            yield Line(0, ">", f"{of.choice} is {_named(of.option, of.says)} [{of.status}]", _HOLDS)
            yield Line(1, "", f"Nothing stands in its way. Its reasons: bedjoint why, with --about {of.choice}.")
            return
        yield Line(0, ">", f"Why {of.choice} is not {_named(of.option, of.says)}", "bold")
        still = f" It could still become {of.option}, once the open facts are known." if of.possible else ""
        yield Line(1, "", f"It is {of.taken} [{of.status}].{still}")
        number = 0
        for each in of.obstacles:
            for lines in self._obstacle(each, of.option):
                number += 1
                for line in lines:
                    yield Line(line.level + 1, f"{number}." if line.mark == "#" else line.mark, line.text, line.style)
        if any(isinstance(each, StandsBefore) for each in of.obstacles):
            yield Line(1, "", f"The order: {of.order_because}")

    def _obstacle(self, of: Obstacle, wanted: str) -> Iterator[Iterator[Line]]:
        """The lines of an obstacle, in parts that are numbered each by itself; "#" stands for the number."""
        match of:
            case RuledOut():
                for rule in of.rules:
                    yield self._stopped(rule, "#", f"{rule.id} rules out {wanted}", 0, reasons=True)
            case NoSupport():
                yield self._no_support(of, "#", f"{wanted} needs support", "support", 0)
            case StandsBefore():
                yield self._before(of)

    def _no_support(self, of: NoSupport, mark: str, what: str, does: str, level: int) -> Iterator[Line]:
        rules = of.rules
        if not rules:
            yield Line(level, mark, f"{what}, and there is no rule that could {does} it.", "bold")
            return
        if len(rules) == 1:
            said = f"the one rule that would {does} it does not hold. It would have to:"
        else:
            said = f"none of the {len(rules)} rules that would {does} it holds. One of them would have to:"
        yield Line(level, mark, f"{what}, and {said}", "bold")
        for rule in rules:
            grade = f" ({rule.word}, {rule.certainty} certainty)"
            yield from self._held(rule, f"{rule.title}{grade}.{_but(rule.frees)}", level + 1)

    def _held(self, of: RuleChanged, said: str, level: int) -> Iterator[Line]:
        """A rule that would have to hold."""
        if of.change is None:
            yield Line(level, of.id, f"{said} What it takes: see above.", "bold")
            return
        yield Line(level, of.id, said, "bold")
        if isinstance(of.change, OneOfSaid) and of.change.parts:
            yield Line(level + 1, "", "One of these:")
        yield from self._change(of.change, level + 1)

    def _stopped(self, of: RuleChanged, mark: str, what: str, level: int, *, reasons: bool) -> Iterator[Line]:
        """A rule that would have to hold no longer."""
        if of.change is None:
            yield Line(level, mark, f"{what}: {of.title}. What would stop it: see above.", "bold")
            return
        yield Line(level, mark, f"{what}: {of.title}.", "bold")
        inner = level + 1
        if reasons:
            yield Line(inner, "", f"Because: {of.because}")
            yield from grade_lines(of, inner)
        if isinstance(of.change, OneOfSaid) and not of.change.parts:
            yield Line(inner, "", "It holds whatever is found at a wall.")
            return
        useful, undone = _split(of.change)
        if isinstance(useful, OneOfSaid):
            yield Line(inner, "", "It would hold no longer with one of these:")
            yield from self._alternatives(useful, of.id, inner)
        elif useful is not None:
            yield Line(inner, "", "It would hold no longer with:")
            yield from self._change(useful, inner)
        if undone:
            names = [f"{each.met.variable} ({in_a_row(each.then_against)} would rule it out)" for each in undone]
            other = "also " if useful is not None else ""
            yield Line(inner, "", f"To no avail, it would {other}hold no longer with another {in_a_row(names, 'or')}.")

    def _alternatives(self, of: OneOfSaid, rule: str, level: int) -> Iterator[Line]:
        """Each alternative; those that another rule named in the same words are gathered into one line."""
        repeated: list[str] = []
        for part in of.parts:
            first = self._first.setdefault(part.model_dump_json(), rule)
            if first != rule:
                repeated.append(f"{_names(part)} (as for {first})")
                continue
            yield from self._change(part if isinstance(part, NeedSaid) else OneOfSaid(parts=(part,)), level)
        if repeated:
            yield Line(level, "-", f"or as above: {'; '.join(repeated)}")

    def _change(self, of: ChangeSaid, level: int) -> Iterator[Line]:
        """What it takes: the outermost parts stand in a row, as the line above says whether all or one of them."""
        if isinstance(of, NeedSaid):
            yield self._need(of, level)
            return
        if not of.parts:
            yield Line(level, "-", "nothing that could be found at this wall would do")
        for part in of.parts:
            if isinstance(part, NeedSaid):
                yield self._need(part, level)
            else:
                yield Line(level, "-", "one of these:" if isinstance(part, OneOfSaid) else "all of these:")
                yield from self._change(part, level + 1)

    def _need(self, of: NeedSaid, level: int) -> Line:
        said = f"{self._told.met(of.met)}; {needed(of.needs)}"
        if of.met.state == "does not apply":
            said += ", so it would first have to apply"
        if of.by:
            said += f": {of.by}"
        elif "other than" in of.needs and 0 < len(of.values) <= _VALUES_SHOWN:
            said += f": {in_a_row(of.values, 'or')}"
        key = (of.met.variable, of.needs)
        if of.then_against and key not in self._against:
            self._against.add(key)
            said += f"; then {in_a_row(of.then_against)} would speak against it"
        if of.earlier:
            said += "; see below"
        return Line(level, "-", said)

    def _before(self, of: StandsBefore) -> Iterator[Line]:
        said = f"{_named(of.option, of.says, ' (', ')')} comes before it in the order"
        if of.stands == "then":
            said += ", and would stand once the rules above do not hold"
        elif of.supported_by:
            said += f" and stands, supported by {in_a_row(of.supported_by)}"
        else:
            said += " and stands, as no rule rules it out"
        if of.falls_with:
            yield Line(0, "#", f"{said}. It falls with {in_a_row(of.falls_with)} above.", "bold")
            return
        yield Line(0, "#", f"{said}.", "bold")
        yield from self._routes(of.routes, f"{of.option} would fall", 1)

    def _routes(self, routes: Sequence[Route], falls: str, level: int) -> Iterator[Line]:
        useful = [route for route in routes if not route.frees]
        if not useful:
            yield Line(level, "", "No rule could make that happen and leave the rest as it is.")
        elif len(useful) == 1:
            yield Line(level, "", f"{falls} in one way:")
        else:
            yield Line(level, "", f"{falls} in one of these ways:")
        for route in useful:
            if len(route.rules) > 1:
                yield Line(level + 1, "-", "none of these rules may hold any longer:")
                for rule in route.rules:
                    yield from self._stopped(rule, rule.id, "would have to stop", level + 2, reasons=False)
                continue
            (rule,) = route.rules
            if rule.must == "stop":
                yield from self._stopped(rule, rule.id, "would have to stop", level + 1, reasons=False)
            else:
                yield from self._held(rule, f"would have to hold: {rule.title}.", level + 1)
        vain: dict[tuple[str, ...], list[str]] = {}
        for route in routes:
            if route.frees:
                vain.setdefault(route.frees, []).append(" with ".join(rule.id for rule in route.rules))
        for frees, rules in vain.items():
            would = f"To no avail by {in_a_row(rules, 'or')}: then {in_a_row(frees)} would come before it."
            yield Line(level, "", would)

    def _rule(self, of: RuleObstacles) -> Iterator[Line]:
        rule = of.rule
        if of.is_held:
            yield Line(0, ">", f"{rule.id} holds: {rule.title}.", _HOLDS)
            yield Line(1, "", f"It {brings(rule)}. Its reasons: bedjoint why, with --about {rule.id}.")
            return
        known = "does not hold" if rule.holds == "false" else "is not known to hold"
        yield Line(0, ">", f"Why {rule.id} {known}: {rule.title}.", "bold")
        yield Line(1, "", f"Where it holds, it {brings(rule)}.")
        yield Line(1, "", f"Because: {rule.because}")
        yield from grade_lines(rule, 1)
        assert rule.change is not None
        one = isinstance(rule.change, OneOfSaid)
        yield Line(1, "", "It would hold with one of these:" if one else "It would hold if this were otherwise:")
        yield from self._change(rule.change, 1)

    def _member(self, of: MemberObstacles) -> Iterator[Line]:
        if of.is_so:
            said = "is" if of.wanted == "in" else "is not"
            yield Line(0, ">", f"{of.member} {said} in {of.set}: {of.says}", _HOLDS)
            yield Line(1, "", f"Its reasons: bedjoint why, with --about {of.set}={of.member}.")
            return
        if of.wanted == "in":
            yield Line(0, ">", f"Why {of.member} is not in {of.set}: {of.says}", "bold")
            if of.possible:
                yield Line(1, "", "It might still be added, once the open facts are known.")
        else:
            yield Line(0, ">", f"What would take {of.member} out of {of.set}: {of.says}", "bold")
        for each in of.obstacles:
            if isinstance(each, NoSupport):
                yield from self._no_support(each, "-", "A rule has to add it", "add", 1)
            elif isinstance(each, RuledOut):
                for rule in each.rules:
                    yield from self._stopped(rule, "-", f"{rule.id} adds it", 1, reasons=False)


def _but(frees: Sequence[str]) -> str:
    return f" But then {in_a_row(frees)} would come before it." if frees else ""


def _names(of: ChangeSaid) -> str:
    """The variables of a change."""
    if isinstance(of, NeedSaid):
        return of.met.variable
    return (" or " if isinstance(of, OneOfSaid) else " with ").join(_names(part) for part in of.parts)


def _split(change: ChangeSaid) -> tuple[ChangeSaid | None, list[NeedSaid]]:
    """What helps, and the alternatives that would bring in another rule against what is wanted."""
    if isinstance(change, NeedSaid):
        return (None, [change]) if change.undone else (change, [])
    if not isinstance(change, OneOfSaid):
        return change, []
    undone = [part for part in change.parts if isinstance(part, NeedSaid) and part.undone]
    useful = tuple(part for part in change.parts if part not in undone)
    if not useful:
        return None, undone
    return (useful[0] if len(useful) == 1 else OneOfSaid(parts=useful)), undone
