"""How parts of a decision are put into words, the same in every format meant for people."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from engine.decision.model import ChoiceDecided, Citation, RuleApplied, WallDecided

SEEN = {
    "seen": "text seen",
    "secondhand": "as another page reports it",
    "from_memory": "from memory, to be verified against the text",
    "none": "",
}
LINE_CHOICES = ("line_run", "line_height", "line_ends", "line_below_ground")
MAIN_CHOICES = ("rising_damp", "verdict", "medium", *LINE_CHOICES, "plaster")
NO_LINE = "no_line"


def sentence(text: str) -> str:
    """The text with a capital first letter."""
    return text[:1].upper() + text[1:]


def status_of(choice: ChoiceDecided) -> str:
    """The status and the grade in brackets; where it is open, what else it could be."""
    hidden = (choice.option, "undecided", "no_medium", "no_line", "wait")
    others = [
        f"{option} (neither reached nor ruled out)" if option in choice.unproved else option
        for option in choice.possible
        if option not in hidden
    ]
    grade = f"; {choice.word}, {choice.certainty} certainty" if choice.word else ""
    if choice.rests_on_certainty == "low":
        named = ", ".join(choice.rests_on).replace("_", " ")
        grade += f", resting on {named} of {choice.rests_on_certainty} certainty"
    if choice.status == "settled" or not others:
        return f"[{choice.status}{grade}]"
    return f"[{choice.status}{grade}; could be {', '.join(others).replace('_', ' ')}]"


def line_in_words(wall: WallDecided) -> tuple[str, str]:
    """How the line is set, in one sentence, and its weakest status."""
    parts = [wall.choice(name) for name in LINE_CHOICES]
    if parts[0].option == NO_LINE:
        said = parts[0].says
    else:
        said = "; ".join(part.says for part in parts if part.option not in ("none_needed", NO_LINE))
    statuses = [part.status for part in parts]
    worst = next((each for each in ("undecided", "provisional") if each in statuses), "settled")
    return said, f"[{worst}]"


def grade(rule: RuleApplied) -> str:
    """Basis and certainty in a few words."""
    return f"{rule.basis.replace('_', ' ')}, {rule.certainty} certainty"


def reference(cite: Citation) -> str:
    """One citation, short, with its clause where known."""
    return f"{cite.short}, {cite.clause}" if cite.clause else cite.short


def joined(texts: Iterable[str]) -> str:
    """Sentences one after the other, each with its full stop."""
    return " ".join(sentence(text.rstrip(".")) + "." for text in texts)


def sources_of(rules: Sequence[RuleApplied]) -> list[Citation]:
    """Every source cited, once, in the order first cited."""
    found: dict[str, Citation] = {}
    for rule in rules:
        for cite in rule.cites:
            found.setdefault(cite.source, cite)
    return list(found.values())


def source_line(cite: Citation) -> str:
    """A source for a list: title, edition, how far it was seen."""
    seen = SEEN[cite.seen]
    edition = f" ({cite.edition})" if cite.edition else ""
    name = "" if cite.title.startswith(cite.short) else f"{cite.short}: "
    later = f"; superseded by {cite.superseded_by}" if cite.superseded_by else "; withdrawn" if cite.withdrawn else ""
    return f"{name}{cite.title}{edition}{'; ' + seen if seen else ''}{later}"
