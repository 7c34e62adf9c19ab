"""Pages of the trade's figures: one for each table, and one for each question a table answers."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from pydantic import BaseModel

from engine.facts.values import in_words
from engine.reasoning.page_model import ExplainedPage, Link, PageEntry, PageSection
from engine.reasoning.page_names import figure_id, table_id
from engine.rulebase.rules import RuleBase
from engine.rulebase.table_models import Figure, Row
from engine.rulebase.tables import Tables, rows_in

if TYPE_CHECKING:
    from engine.reasoning.page_index import PageIndex

_OF_A_ROW = frozenset(Row.model_fields)
_UNITS = {
    "mm": "mm",
    "percent": "%",
    "degrees": "degrees",
    "m_s2": "m/s²",
    "mg_m3": "mg/m³",
    "mpa": "MPa",
    "mm_per_min": "mm/min",
    "m2k_w": "m²K/W",
    "per_hour": "per hour",
}


def table_names(base: RuleBase) -> tuple[str, ...]:
    """The names of the tables of a version; none where it has none."""
    return tuple(Tables.__dataclass_fields__) if base.tables else ()


def tables_of(base: RuleBase) -> Iterator[tuple[str, str, Any]]:
    """Every table's questions: its name, the question's name, and the rows or the single value that answers it."""
    for table in table_names(base):
        model = getattr(base.tables, table)
        for figure in type(model).model_fields:
            yield table, figure, getattr(model, figure)


def table_title(table: str) -> str:
    """The name of a table in words."""
    return f"Figures: {table.replace('_', ' ')}"


def figure_title(table: str, figure: str) -> str:
    """The name of a question in words, with its unit apart."""
    words, unit = _apart(figure)
    return f"{table.replace('_', ' ')}: {words}{f', {unit}' if unit else ''}"


def _apart(name: str) -> tuple[str, str]:
    """The name of a figure in words, and the unit at its end; "" where it ends in none."""
    for ending, unit in sorted(_UNITS.items(), key=lambda each: -len(each[0])):
        if name.endswith(f"_{ending}"):
            return name.removesuffix(f"_{ending}").replace("_", " "), unit
    return name.replace("_", " "), ""


def table_page(index: PageIndex, table: str) -> ExplainedPage:
    """What a table holds."""
    entries = []
    for name, figure, held in tables_of(index.base):
        if name == table:
            rows = [row for _, row in rows_in(held)]
            aside = sum(row.set_aside is not None for row in rows)
            figures = [row for row in _outer_rows(held) if isinstance(row, Figure) and row.set_aside is None]
            unit = _apart(figure)[1]
            if figures:
                said = ", ".join(f"{_plain(row.value)} {unit}".rstrip() for row in figures)
            else:
                said = _counted(len(rows) - aside, "row") if rows else _plain(held)
            said += f"; {aside} set aside" if aside else ""
            id_ = figure_id(table, figure)
            entries.append(PageEntry(label=id_, text=said, links=(Link(text=id_, to=id_),)))
    cited = dict.fromkeys(
        source for name, _, held in tables_of(index.base) if name == table for source in _sources(held)
    )
    return ExplainedPage(
        kind="table",
        id=table_id(table),
        title=table_title(table),
        place=f"rules/{index.base.manifest.version}/tables/{table}.yaml",
        sections=(
            PageSection(heading="What it holds", entries=tuple(entries)),
            PageSection(heading="Sources", entries=tuple(_source(index, source) for source in cited) or _NONE),
        ),
        see_also=index.refs_to(index.terms_about.get(table_id(table), ())),
    )


def figure_page(index: PageIndex, table: str, figure: str) -> ExplainedPage:
    """One question of a table: the figures followed, and those set aside with the reason."""
    id_ = figure_id(table, figure)
    held = getattr(getattr(index.base.tables, table), figure)
    rows = list(_outer_rows(held))
    followed = tuple(entry for row in rows if row.set_aside is None for entry in _row(index, row, _apart(figure)[1]))
    if not rows:
        followed = tuple(_values(held))
    aside = tuple(entry for row in rows if row.set_aside is not None for entry in _row(index, row, _apart(figure)[1]))
    return ExplainedPage(
        kind="figure",
        id=id_,
        title=figure_title(table, figure),
        place=f"rules/{index.base.manifest.version}/tables/{table}.yaml",
        sections=(
            PageSection(heading="What is followed", entries=followed),
            PageSection(heading="What is set aside, and why", entries=aside or _NONE),
            PageSection(
                heading="Sources",
                entries=tuple(_source(index, source) for source in dict.fromkeys(_sources(held))) or _NONE,
            ),
        ),
        see_also=index.refs_to((table_id(table), *index.terms_about.get(id_, ()))),
    )


def rows_naming(base: RuleBase, choice: str, option: str) -> tuple[str, ...]:
    """The pages of the figures that are for one option of a choice, such as a medium or a class of salt."""
    found: dict[str, None] = {}
    for table, figure, held in tables_of(base):
        for _, row in rows_in(held):
            several = getattr(row, f"{choice}s", ())
            if getattr(row, choice, None) == option or option in (several if isinstance(several, tuple) else ()):
                found[figure_id(table, figure)] = None
    return tuple(found)


def rows_from(base: RuleBase, source: str) -> Iterator[tuple[str, Row]]:
    """The pages of the figures taken from a source, with the row."""
    for table, figure, held in tables_of(base):
        for _, row in rows_in(held):
            if source in (row.source, *row.also):
                yield figure_id(table, figure), row


_NONE = (PageEntry(text="none"),)


def _outer_rows(held: Any) -> Iterator[Row]:
    """The rows of a list, without the rows inside them."""
    for path, row in rows_in(held):
        if len(path) == 1:
            yield row


def _row(index: PageIndex, row: Row, unit: str = "") -> Iterator[PageEntry]:
    """One row: its figures, what the source says, and why it is set aside; what stands inside it further in."""
    source = index.base.sources[row.source]
    shown = f"{source.short}, {row.clause}" if row.clause else source.short
    figures = "; ".join(_fields(row, unit))
    says = f"{row.says.rstrip('.')}."
    text = f"{figures}. {says}" if figures else says
    text += f" Set aside: {row.set_aside}" if row.set_aside else ""
    seen = index.glossary.meaning("seen", row.seen)
    text += f" [{row.certainty} certainty; {seen or row.seen}]"
    yield PageEntry(label=shown, text=text, links=(Link(text=source.short, to=row.source),))
    for name in type(row).model_fields:
        value = getattr(row, name)
        for inner in value if isinstance(value, tuple) else (value,):
            if isinstance(inner, Row):
                for entry in _row(index, inner):
                    said = f"{name.replace('_', ' ')}: {entry.text}" if entry.label else entry.text
                    yield entry.model_copy(update={"depth": entry.depth + 1, "text": said})
            elif isinstance(inner, BaseModel):
                yield PageEntry(text="; ".join(_fields(inner)), depth=1)


def _fields(value: BaseModel, unit: str = "") -> Iterator[str]:
    """The figures of a row, each by its name; those that give nothing, and what has lines of its own, are left out."""
    for name in type(value).model_fields:
        held = getattr(value, name)
        inside = held if isinstance(held, tuple) else (held,)
        if name in _OF_A_ROW or held is None or held == () or any(isinstance(each, BaseModel) for each in inside):
            continue
        words, own = _apart(name)
        shown = f"{words} {_plain(held)} {own}".rstrip()
        yield f"{_plain(held)} {unit}".rstrip() if name == "value" else shown


def _values(held: Any) -> Iterator[PageEntry]:
    """What a table says without a source of its own."""
    several = held if isinstance(held, tuple) else (held,)
    for each in several:
        yield PageEntry(text="; ".join(_fields(each)) if isinstance(each, BaseModel) else _plain(each))


def _plain(held: Any) -> str:
    if isinstance(held, BaseModel):
        return " ".join(_fields(held))
    if isinstance(held, tuple):
        if len(held) == 2 and all(isinstance(each, int | float) for each in held):
            low, high = held
            return _plain(low) if low == high else f"{_plain(low)} to {_plain(high)}"
        return ", ".join(_plain(each) for each in held)
    return in_words(held)


def _sources(held: Any) -> Iterator[str]:
    for _, row in rows_in(held):
        yield from (row.source, *row.also)


def _source(index: PageIndex, source: str) -> PageEntry:
    short = index.base.sources[source].short
    title = index.base.sources[source].title
    text = "" if title == short else title
    return PageEntry(label=short, text=text, links=(Link(text=short, to=source),))


def _counted(count: int, what: str) -> str:
    return f"{count} {what}" if count == 1 else f"{count} {what}s"
