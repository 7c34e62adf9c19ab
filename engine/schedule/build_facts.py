"""The facts of one wall as the schedule asks for them, and a list of what was asked for and is not known."""

from __future__ import annotations

from collections.abc import Mapping

from engine.facts.values import State, Value
from engine.facts.vocabulary import facts
from engine.inference.evaluate import Evaluation
from engine.schedule.model import FirmUp

OUTSIDE = {
    "product_sheet": "Which product is used, and what does its sheet say of drilling, dose and packs?",
    "price_book": "What does an hour cost, how long does a task take, what do materials cost?",
    "drill": "What is the drill's vibration in this wall, and how many seconds does it run for each hole?",
}


class Known:
    """Facts and decisions of one wall. What is asked for in vain is noted with what is done without it."""

    def __init__(self, evaluation: Evaluation) -> None:
        self.evaluation = evaluation
        self._values: Mapping[str, Value] = evaluation.values
        self._firm: dict[str, FirmUp] = {}
        self.notes: list[str] = []

    def number(self, name: str) -> float | None:
        """A number, or `None` while it is unknown or does not apply."""
        value = self._value(name)
        return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None

    def word(self, name: str) -> str | None:
        """A word, or `None`."""
        value = self._value(name)
        return value if isinstance(value, str) else None

    def members(self, name: str) -> frozenset[str] | None:
        """A set, empty where the fact does not apply; `None` while it is unknown."""
        if not self.applies(name):
            return frozenset()
        value = self._value(name)
        return value if isinstance(value, frozenset) else None

    def rows(self, name: str) -> tuple[object, ...]:
        """Rows, none while they are unknown."""
        value = self._value(name)
        return value if isinstance(value, tuple) else ()

    def applies(self, name: str) -> bool:
        """Whether the fact applies to this wall, as far as is known."""
        value = self._values.get(name)
        return value is None or value.state is not State.NOT_APPLICABLE

    def option(self, choice: str) -> str:
        """The decision on a choice."""
        return self.evaluation.outcomes[choice].option

    def holds(self, set_id: str, member: str) -> bool:
        """Whether a set holds a member now."""
        return member in self.evaluation.sets[set_id].now

    def ask(self, name: str, without: str) -> None:
        """Note that a fact would make the schedule firmer, once for each fact."""
        if name not in self._firm:
            question = OUTSIDE[name] if name in OUTSIDE else facts()[name].question
            self._firm[name] = FirmUp(fact=name, question=question, without=without)

    def note(self, text: str) -> None:
        """Note something the reader has to know, once."""
        if text not in self.notes:
            self.notes.append(text)

    @property
    def would_firm_up(self) -> tuple[FirmUp, ...]:
        """What was asked for in vain."""
        return tuple(self._firm.values())

    def _value(self, name: str) -> object:
        value = self._values.get(name)
        return value.value if value is not None and value.known else None
