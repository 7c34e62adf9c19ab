"""Everything that has a page, with the names it is looked up by; and the look-up itself."""

from __future__ import annotations

import difflib
import functools
import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from engine.facts.vocabulary import facts
from engine.readings.vocabulary import READINGS
from engine.reasoning.page_conditions import Leaf, leaves
from engine.reasoning.page_glossary import Glossary
from engine.reasoning.page_model import KINDS, FoundBy, Kind, PageRef
from engine.reasoning.page_names import (
    figure_id,
    normalised,
    option_id,
    stage_id,
    table_id,
    term_id,
    version_id,
)
from engine.reasoning.page_tables import figure_title, table_names, table_title, tables_of
from engine.rulebase.model import STAGES
from engine.rulebase.rules import Rule, RuleBase

_WORD = re.compile(r"[^\W_]+")
_FAMILIAR = 0.05
"""The share of titles from which on a word of the trade says nothing about the rule in whose title it stands."""
_NEAR = 3


class Rank:
    """How well a name belongs to a page. A word of the trade comes first; a short form last."""

    ID, TERM, OWN, OPTION, SHORT = range(5)


@dataclass(frozen=True, slots=True)
class Found:
    """What a look-up came to: the page, and what fits as well; without a page the fitting ones are the answer."""

    page: PageRef | None
    matches: tuple[PageRef, ...]
    by: FoundBy


class PageIndex:
    """All pages of one version of the rules, by id, by name and by what they say of one another."""

    def __init__(self, base: RuleBase, glossary: Glossary) -> None:
        self.base = base
        self.glossary = glossary
        self.refs: dict[str, PageRef] = {}
        self._names: dict[str, list[tuple[int, str]]] = {}
        for kind, id_, title, names in _everything(base, glossary):
            self.refs[id_] = PageRef(kind=kind, id=id_, title=title)
            for rank, name in ((Rank.ID, id_), *names):
                held = self._names.setdefault(normalised(name), [])
                if all(other != id_ for _, other in held):
                    held.append((rank, id_))
        for held in self._names.values():
            held.sort()

    @functools.cached_property
    def _asked(self) -> Mapping[str, Mapping[str, tuple[Leaf, ...]]]:
        asked: dict[str, dict[str, dict[Leaf, None]]] = {}
        for rule in self.base.rules:
            for leaf in leaves(rule.when):
                asked.setdefault(leaf.variable.name, {}).setdefault(rule.id, {})[leaf] = None
        return {name: {rule: tuple(found) for rule, found in by.items()} for name, by in asked.items()}

    def asked_of(self, name: str) -> tuple[tuple[Rule, tuple[Leaf, ...]], ...]:
        """The rules that read a fact, reading, decision or set, in order, with what each asks of it."""
        return tuple((self.base.by_id[rule], found) for rule, found in self._asked.get(name, {}).items())

    @functools.cached_property
    def terms_about(self) -> Mapping[str, tuple[str, ...]]:
        """For every page the words of the trade that name it among what to read with them."""
        about: dict[str, list[str]] = {}
        for term in self.glossary.terms.values():
            for related in term.related:
                about.setdefault(related, []).append(term_id(term.id))
        return {page: tuple(terms) for page, terms in about.items()}

    @functools.cached_property
    def _patterns(self) -> Mapping[str, re.Pattern[str]]:
        found = {}
        for term in self.glossary.terms.values():
            if not (term.scale or term.ours):
                names = "|".join(re.escape(name) for name in (term.term, *term.also))
                found[term_id(term.id)] = re.compile(rf"\b(?:{names})s?\b", re.IGNORECASE)
        return found

    @functools.cached_property
    def _rare(self) -> frozenset[str]:
        """The words of the trade that few titles of rules hold, so that they tell one rule from another."""
        count = Counter(
            page for rule in self.base.rules for page, name in self._patterns.items() if name.search(rule.title)
        )
        return frozenset(page for page in self._patterns if count[page] <= _FAMILIAR * len(self.base.rules))

    def terms_in(self, title: str) -> tuple[str, ...]:
        """The words of the trade that stand in the title of a rule, without those that stand in very many."""
        return tuple(page for page, name in self._patterns.items() if page in self._rare and name.search(title))

    def refs_to(self, ids: Iterable[str]) -> tuple[PageRef, ...]:
        """The pages of those ids that there are, each once, in order."""
        return tuple(self.refs[each] for each in dict.fromkeys(ids) if each in self.refs)

    def short_names(self) -> Iterator[tuple[str, PageRef]]:
        """The further names that lead to one page: words of the trade, works, cautions, short names of sources."""
        for name, held in self._names.items():
            best = [page for rank, page in held if rank == held[0][0]]
            if len(best) == 1 and held[0][0] in (Rank.TERM, Rank.OWN):
                yield name, self.refs[best[0]]

    def namesakes(self, id_: str) -> tuple[str, ...]:
        """The other pages whose own short name is this page's too."""
        short = _short(id_)
        return tuple(other for _, other in self._names.get(short, ()) if other != id_ and _short(other) == short)

    def find(self, asked: str) -> Found | None:
        """The page of that name; else those whose names begin so; else those with these words in the title.

        `None` where nothing fits. Capitals, hyphens, blanks and underscores make no difference.
        """
        wanted = normalised(asked)
        exact = self._names.get(wanted, [])
        if exact and exact[0][0] == Rank.ID:
            return Found(self.refs[exact[0][1]], self.refs_to(page for _, page in exact[1:]), "name")
        beginning, words = self._beginning(wanted), self._with_words(asked)
        if exact:
            best = [page for rank, page in exact if rank == exact[0][0]]
            if len(best) > 1:
                return Found(None, self._sorted(page for _, page in exact), "name")
            rest = (*(page for _, page in exact), *beginning, *words)
            return Found(self.refs[best[0]], self.refs_to(page for page in rest if page != best[0]), "name")
        if beginning:
            return self._one_or_several(beginning, "beginning")
        return self._one_or_several(words, "words") if words else None

    def near(self, asked: str) -> tuple[str, ...]:
        """Ids and names that are one slip of the pen away, or else those that look alike."""
        wanted = normalised(asked)
        held = {name: refs[0][1] for name, refs in self._names.items()}
        slips = [name for name in held if len(wanted) >= _NEAR and _one_slip(wanted, name)]
        if slips:
            alike = difflib.SequenceMatcher(b=wanted)
            slips.sort(key=lambda name: (-_alike(alike, name), name))
            return tuple(dict.fromkeys(held[name] for name in slips))
        close = difflib.get_close_matches(wanted, held, _NEAR, 0.6)
        return tuple(dict.fromkeys(held[name] for name in close))

    def _beginning(self, wanted: str) -> list[str]:
        return list(
            dict.fromkeys(
                page for name, held in self._names.items() if wanted and name.startswith(wanted) for _, page in held
            )
        )

    @functools.cached_property
    def _title_words(self) -> Mapping[str, frozenset[str]]:
        return {page: frozenset(_WORD.findall(ref.title.casefold())) for page, ref in self.refs.items()}

    def _with_words(self, asked: str) -> list[str]:
        """Pages with every word asked for in the title, or a word that begins so."""
        wanted = _WORD.findall(asked.casefold())
        if not wanted:
            return []
        return [
            page
            for page, words in self._title_words.items()
            if all(any(word.startswith(each) for word in words) for each in wanted)
        ]

    def _one_or_several(self, pages: list[str], by: FoundBy) -> Found:
        if len(pages) == 1:
            return Found(self.refs[pages[0]], (), by)
        return Found(None, self._sorted(pages), by)

    def _sorted(self, pages: Iterable[str]) -> tuple[PageRef, ...]:
        """By kind, and within a kind in the order of the rule base."""
        found = self.refs_to(pages)
        return tuple(sorted(found, key=lambda ref: KINDS.index(ref.kind)))


def _short(id_: str) -> str:
    return normalised(re.split(r"[.=]", id_)[-1])


_Named = tuple[Kind, str, str, tuple[tuple[int, str], ...]]


def _everything(base: RuleBase, glossary: Glossary) -> Iterator[_Named]:
    """Kind, id, title and further names, with their rank, of everything that has a page."""
    for term in glossary.terms.values():
        names = (term.id, term.term, *term.also, *term.values)
        yield "term", term_id(term.id), term.term, tuple((Rank.TERM, name) for name in names)
    for rule in base.rules:
        yield "rule", rule.id, rule.title, ()
    for stage in STAGES:
        choices = [choice.title for choice in base.choices_of[stage]]
        closed = [each.title for each in base.sets.values() if each.closes == stage]
        title = "; ".join((*choices, *closed)) or stage
        yield "stage", stage_id(stage), title, ((Rank.SHORT, stage),)
    for choice in base.choices.values():
        yield "choice", choice.id, choice.title, ((Rank.OWN, f"decided.{choice.id}"),)
        for option in choice.options:
            yield "option", option_id(choice.id, option.id), option.says, ((Rank.OPTION, option.id),)
    for each in base.sets.values():
        yield "set", each.id, each.title, ((Rank.OWN, f"found.{each.id}"),)
        for member in base.members[each.id].values():
            yield "member", option_id(each.id, member.id), member.says, ((Rank.OWN, member.id),)
    for name, variable in facts().items():
        yield "fact", name, variable.question, ((Rank.SHORT, name.partition(".")[2]),)
    for name, variable in READINGS.items():
        yield "reading", name, variable.question, ((Rank.SHORT, name.partition(".")[2]),)
    for source in base.sources.values():
        title = source.short if source.title == source.short else f"{source.short}: {source.title}"
        title = source.title if source.title.startswith(source.short) else title
        yield "source", source.id, title, ((Rank.OWN, source.short),)
    for table in table_names(base):
        yield "table", table_id(table), table_title(table), ((Rank.SHORT, table), (Rank.SHORT, f"{table}.yaml"))
    for table, figure, _ in tables_of(base):
        yield "figure", figure_id(table, figure), figure_title(table, figure), ((Rank.SHORT, figure),)
    version = base.manifest.version
    yield "version", version_id(version), f"Version {version} of the rules", ((Rank.OWN, version),)


def _alike(matcher: difflib.SequenceMatcher[str], name: str) -> float:
    matcher.set_seq1(name)
    return matcher.ratio()


def _one_slip(a: str, b: str) -> bool:
    """Whether one letter more, less, other, or two changed about make one word of the other."""
    if abs(len(a) - len(b)) > 1 or a == b:
        return False
    start = 0
    while start < min(len(a), len(b)) and a[start] == b[start]:
        start += 1
    if len(a) != len(b):
        longer, shorter = (a, b) if len(a) > len(b) else (b, a)
        return longer[start + 1 :] == shorter[start:]
    if a[start + 1 :] == b[start + 1 :]:
        return True
    return a[start : start + 2] == b[start : start + 2][::-1] and a[start + 2 :] == b[start + 2 :]
