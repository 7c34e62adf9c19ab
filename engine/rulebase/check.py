"""What must hold of one rule beyond its form: names that resolve, stages that fit, a grade its sources bear."""

from __future__ import annotations

import difflib
from collections.abc import Collection, Iterator, Mapping
from typing import Any

from engine.facts.document import Path
from engine.rulebase.model import STAGES, Choice, Member, RawRule, SetOfFindings, Source, SourceKind

Found = tuple[Path, str, str, str, str]

BEARS: Mapping[str, frozenset[SourceKind]] = {
    "standard": frozenset({"law", "standard"}),
    "guidance": frozenset({"law", "standard", "guidance", "trade"}),
    "research": frozenset({"research"}),
    "common_practice": frozenset({"common_practice", "trade", "guidance"}),
}
"""The kinds of source that can bear each basis; judgement needs none."""

PLACEHOLDER = "TODO"
"""What a text, a value or a key begins with that is still to be filled in. No version that holds one is read."""
UNFILLED = "is still to be filled in"


def placeholders_in(data: Any, path: Path = ()) -> Iterator[tuple[Path, str]]:
    """Every value and key that is still to be filled in, with its path."""
    if isinstance(data, str):
        if data.startswith(PLACEHOLDER):
            yield path, data
    elif isinstance(data, dict):
        for key, value in data.items():
            if key.startswith(PLACEHOLDER):
                yield (*path, key), key
            yield from placeholders_in(value, (*path, key))
    elif isinstance(data, list):
        for index, value in enumerate(data):
            yield from placeholders_in(value, (*path, index))


def _near(word: str, among: Collection[str]) -> str:
    near = difflib.get_close_matches(word, among, 1, 0.6)
    return f"did you mean {near[0]}?" if near else ""


def problems_in_rule(
    raw: RawRule,
    stage: str,
    choices: Mapping[str, Choice],
    sets: Mapping[str, SetOfFindings],
    members: Mapping[str, Mapping[str, Member]],
    sources: Mapping[str, Source],
) -> Iterator[Found]:
    """Every problem of a rule's conclusions, citations and grade, with its path inside the rule."""
    if not (raw.supports or raw.rules_out or raw.adds or raw.cautions):
        yield (), "concludes nothing", "", "supports, rules_out, adds or cautions", ""
    for group, several in (("supports", raw.supports), ("rules_out", raw.rules_out)):
        for name, options in several.items():
            path: Path = (group, name)
            choice = choices.get(name)
            if choice is None:
                yield path, "no choice of this name", name, ", ".join(choices), _near(name, choices)
                continue
            if choice.stage != stage:
                yield path, f"is decided in stage {choice.stage}, not in {stage}", name, "", ""
            known = {option.id for option in choice.options}
            for option in options:
                if option not in known:
                    yield path, f"no option of {name}", option, ", ".join(sorted(known)), _near(option, known)
        for name in set(raw.supports) & set(raw.rules_out):
            for option in set(raw.supports[name]) & set(raw.rules_out[name]):
                if group == "supports":
                    yield (group, name), "is supported and ruled out by the same rule", option, "", ""
    additions: list[tuple[Path, str, str]] = [
        (("adds", name), name, each) for name, several in raw.adds.items() for each in several
    ]
    additions += [(("cautions",), "cautions", each) for each in raw.cautions]
    for path, name, member in additions:
        if name not in sets:
            yield path, "no set of this name", name, ", ".join(sets), _near(name, sets)
        elif STAGES.index(sets[name].closes) < STAGES.index(stage):
            yield path, f"is closed after stage {sets[name].closes}", name, "", ""
        elif member not in members[name]:
            yield path, f"no member of {name}", member, "see its file", _near(member, members[name])
    yield from _problems_in_sources(raw, sources)


def _problems_in_sources(raw: RawRule, sources: Mapping[str, Source]) -> Iterator[Found]:
    cited = [cite.source for cite in raw.cites]
    for index, name in enumerate(cited):
        if name not in sources:
            yield ("cites", index, "source"), "no source of this name", name, "", _near(name, sources)
    for name in ((raw.follows,) if raw.follows else ()) + raw.against:
        if name not in cited:
            yield ("against",), "is followed or set aside but not cited", name, ", ".join(cited), ""
    if bool(raw.follows) != bool(raw.against):
        yield (), "follows and against go together: where sources disagree, both are named", "", "", ""
    kinds = {sources[name].kind for name in cited if name in sources}
    wanted = BEARS.get(raw.basis)
    if wanted and not wanted & kinds and all(name in sources for name in cited):
        yield ("basis",), f"no cited source bears the basis {raw.basis}", ", ".join(sorted(kinds)), \
            ", ".join(sorted(wanted)), ""  # fmt: skip
