"""A trainee's progress for the terminal, and in words how the level moves."""

from __future__ import annotations

from collections.abc import Sequence

from cli.render_practice import WIDTH, percent
from cli.terminal import Page
from engine.practice.progress import ByChoice, Progress
from engine.practice.settings import DOWN_BELOW, LEVELS, RESULTS_LOOKED_AT, RESULTS_NEEDED, UP_FROM, Level

_CONFUSED_SHOWN = 2


def level_in_words(level: Level) -> str:
    """What makes the cases of a level as hard as they are."""
    among = "among" if level.deciding_hidden else "not among"
    parts = [f"about {level.hidden} facts kept back, the one that decides {among} them"]
    if level.nearness == 0:
        parts.append("a number that decides stands one step from its boundary")
    elif level.nearness < 1:
        parts.append(f"a number that decides is moved to {percent(level.nearness)} of its distance from the boundary")
    if level.trap is not None:
        what = "something" if level.trap else "nothing"
        parts.append(f"{what} at the wall speaks for the wrong answer, where that can be had")
    if level.reasoning:
        parts.append(f"{'more' if level.reasoning > 0 else 'fewer'} rules behind the answers")
    parts.append(f"{level.others} works offered that are not due")
    return "; ".join(parts)


def progress_page(progress: Progress) -> str:
    """What a trainee has done so far, and what to look at again."""
    page = Page(piped_width=WIDTH)
    if not progress.cases:
        page.line(f"No case has been finished yet; results are kept in {progress.kept_in}.")
    else:
        page.line(f"{progress.cases} case{'' if progress.cases == 1 else 's'}, mean {percent(progress.score or 0.0)}. "
                  f"You are at level {progress.level}.", "bold")  # fmt: skip
        page.heading("By choice")
        page.rows(((percent(each.score), _by_choice(each), "") for each in progress.by_choice), 6)
        page.heading("By level")
        page.rows(((percent(e.score), f"level {e.level}, {cases_in_words(e.cases)}", "") for e in progress.by_level), 6)
        if progress.by_rule:
            page.heading("Rules behind wrong answers, the most frequent first")
            page.rows(((r.rule, f"{r.title}: {_how_often(r.missed, r.misread)}", "") for r in progress.by_rule), 6)
            page.line(
                "Missed: a fact the rule rests on was not asked for; misread: all of them were there. A rule in full: "
                "bedjoint rules show ID."
            )
    page.heading("How the level moves")
    page.line(moving_in_words(progress.recent))
    page.rows(((f"{each.number}", level_in_words(each), "") for each in LEVELS), 2)
    if progress.cases:
        page.line(f"Kept in {progress.kept_in}; bedjoint practice progress --clear forgets it.")
    return page.text()


def moving_in_words(recent: Sequence[float]) -> str:
    """When the level goes up or down, and what counts towards that now."""
    counted = f" Counting now: {', '.join(percent(each) for each in recent)}." if recent else ""
    return (
        f"From the last {RESULTS_LOOKED_AT} results at your level, once there are {RESULTS_NEEDED}: a mean of "
        f"{percent(UP_FROM)} or more moves up, one below {percent(DOWN_BELOW)} moves down. Cases with --level or "
        f"--seed are kept, but do not move it.{counted}"
    )


def cases_in_words(count: int) -> str:
    """So many cases."""
    return f"{count} case{'' if count == 1 else 's'}"


def _by_choice(each: ByChoice) -> str:
    wrong = [f"{c.answer} for {c.right} ({c.times})" for c in each.confused[:_CONFUSED_SHOWN]]
    return f"{each.title}, marked {each.marked} times{'; wrong: ' + ', '.join(wrong) if wrong else ''}"


def _how_often(missed: int, misread: int) -> str:
    parts = [f"missed {missed}" if missed else "", f"misread {misread}" if misread else ""]
    return ", ".join(part for part in parts if part)
