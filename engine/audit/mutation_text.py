"""A mutation report as a page of Markdown, without dates or paths of a machine: it can be kept with the rules."""

from __future__ import annotations

from collections.abc import Iterator

from engine.audit.mutation_model import MutationReport, OperatorCount, Unnoticed


def mutation_page(report: MutationReport) -> str:
    """The report as text."""
    return "\n".join(_lines(report)) + "\n"


def _lines(report: MutationReport) -> Iterator[str]:
    total = report.total
    drawn = f"{total.made} of {report.made}, drawn with seed {report.seed}" if report.sample else str(report.made)
    yield f"# Changed rules of {report.rules}, and which tests notice"
    yield ""
    yield (
        "Each rule is changed on purpose, one small fault at a time, and the tests are run against it: the rule's own "
        "examples, then the decision vectors, then the recorded decisions. What none of them notices is put to the "
        "solver: either it is proved that no survey at all is decided otherwise, or a survey is shown that is."
    )
    yield ""
    yield f"- Rules: {report.rules}, digest `{report.digest}`"
    yield f"- Tests: {report.vectors} vectors, {report.recorded} recorded decisions, and the examples of every rule"
    if report.left_out:
        yield f"- Left out, because the rules as they are do not bear them out: {report.left_out}"
    yield f"- Changed rules: {drawn}"
    yield f"- Noticed: {total.killed}, {report.kill_rate:.2f} % of those not proved to decide alike"
    yield f"- Proved to decide alike in every survey: {total.equivalent + total.only_reasons}"
    yield (
        f"  - of these for other reasons, so that another rule brings the same conclusion: {total.only_reasons}; "
        f"alike in everything: {total.equivalent}"
    )
    yield f"- Not noticed, although a survey is decided otherwise: {total.survived}"
    yield f"- Neither proved nor shown: {total.unsettled}"
    yield ""
    yield "| change | made | examples | vectors | recorded | alike | other reasons | not noticed | unsettled |"
    yield "|---|--:|--:|--:|--:|--:|--:|--:|--:|"
    yield from (_row(each.says, each) for each in report.operators)
    yield _row("**all**", total)
    for title, shown in (("Not noticed", True), ("Neither proved nor shown", False)):
        several = [each for each in report.unnoticed if (each.survey is not None) is shown]
        if several:
            yield ""
            yield f"## {title}"
            yield ""
            yield from (_unnoticed(each) for each in several)


def _row(says: str, counted: OperatorCount) -> str:
    numbers = (
        counted.made,
        counted.examples,
        counted.vectors,
        counted.recorded,
        counted.equivalent,
        counted.only_reasons,
        counted.survived,
        counted.unsettled,
    )
    return f"| {says} | {' | '.join(map(str, numbers))} |"


def _unnoticed(each: Unnoticed) -> str:
    return f"- {each.mutant} ({each.title}), {each.operator}: {each.says}. {each.differs or each.why}."
