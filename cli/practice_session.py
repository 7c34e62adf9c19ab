"""Practice at a terminal, or driven through a pipe: one line typed, one answer given, until the cases are done."""

from __future__ import annotations

import contextlib
import datetime as dt
import sys
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from cli.practice_input import NotUnderstood, fact_of, one_of, parted, several_of
from cli.practice_result import result_page
from cli.render_practice import (
    asked_page,
    asking_page,
    case_page,
    fact_page,
    facts_page,
    follows_page,
    message_page,
    opening,
    percent,
    question_page,
)
from engine.errors import BadInput
from engine.facts.vocabulary import facts
from engine.practice.attempt import Attempt
from engine.practice.marking import marked
from engine.practice.progress import Standing, kept, standing

if TYPE_CHECKING:
    from engine.practice.generator import Cases
    from engine.practice.model import CaseResult
    from engine.practice.progress_store import ProgressStore

HELP = """\
  Enter        answer now; after a result: the next case
  1, a name    ask for that fact; at a question: answer with that option
  ask          list the facts that may be asked for, and what they cost
  ask NAME     ask for a fact, by its number or name; several with commas
  ? NAME       what a fact means, how it is established, what it may be
  facts        all facts known so far
  back         the question before; not from the works
  skip         leave this question; before the questions: leave this case
  quit         end; what is finished is kept"""


class _Over(Exception):
    """The trainee has had enough."""


class _SkipCase(Exception):
    """The trainee leaves the case unanswered."""


@dataclass(slots=True)
class Session:
    """One sitting. Without a store nothing is kept; `level` None follows the trainee's own level."""

    cases: Cases
    seed: int
    level: int | None
    count: int
    store: ProgressStore | None
    drawn_from: str
    again: Callable[[int, int], str]
    _scores: list[float] = field(default_factory=list)
    _standing: Standing = field(default_factory=Standing)

    def run(self) -> bool:
        """Work through the cases. False where it was interrupted from the keyboard."""
        if self.store is not None:
            self._standing = standing(self.store.results())
        _say(opening(self.seed, self.drawn_from))
        try:
            for number in range(1, self.count + 1):
                with contextlib.suppress(_SkipCase):
                    self._case(number)
        except (_Over, EOFError):
            self._close()
        except KeyboardInterrupt:
            self._close()
            return False
        else:
            self._close()
        return True

    def _case(self, number: int) -> None:
        level = self.level or self._standing.level
        attempt = Attempt(self.cases, self.cases.case(self.seed, level, number))
        _say(case_page(attempt, f"Case {number} of {self.count}"))
        _Dialogue(attempt).run()
        result = marked(attempt)
        _say(result_page(result, self.again(level, number)))
        self._scores.append(result.score)
        self._keep(result)
        if number < self.count:
            self._pause()

    def _keep(self, result: CaseResult) -> None:
        before, placed = self._standing.level, self.level is None
        if placed:
            self._standing = self._standing.after(result.score)
        if self.store is not None:
            now = dt.datetime.now(dt.UTC).isoformat(timespec="seconds")
            version = self.cases.base.manifest.version
            try:
                self.store.add(kept(result, self.cases.subject.works, version, now, placed=placed))
            except BadInput as error:
                self.store = None
                _tell(f"From here on progress is not kept: {error}")
        if self._standing.level != before:
            up = self._standing.level > before
            _say(f"You move {'up' if up else 'down'} to level {self._standing.level}.")

    def _pause(self) -> None:
        while True:
            typed = _read("Enter: next case; quit: end > ").lower()
            if typed in ("", "next", "n", "skip"):
                return
            if typed in ("quit", "q", "exit"):
                raise _Over
            _say("Enter goes on to the next case, quit ends.")

    def _close(self) -> None:
        if not self._scores:
            _say("\nNo case was finished.")
            return
        mean = percent(sum(self._scores) / len(self._scores))
        cases = f"{len(self._scores)} case{'' if len(self._scores) == 1 else 's'}"
        level = "" if self.level else f" You are at level {self._standing.level}."
        kept_so = " Kept; see bedjoint practice progress." if self.store is not None else " Not kept."
        _say(f"\nFinished {cases}, mean {mean}.{level}{kept_so}")


class _Dialogue:
    """One case: facts, then questions; facts may still be asked for at every question."""

    def __init__(self, attempt: Attempt) -> None:
        self._attempt = attempt
        self._base = attempt.cases.base
        self._to_ask = attempt.to_ask()
        self._numbers = {name: number for number, name in enumerate(self._to_ask, 1)}

    def run(self) -> None:
        self._facts()
        choices = self._attempt.cases.subject.choices
        at, forward = 0, True
        while at < len(choices):
            follows = self._attempt.follows(choices[at])
            if follows is None:
                forward = self._choice(choices[at])
            elif forward:
                self._say_what_follows(choices[at], follows)
            at = max(0, at + (1 if forward else -1))
        self._works()

    def _facts(self) -> None:
        _tell("Enter: answer; a number or name: ask for that fact; ? for help.")
        while True:
            typed = _read("facts > ")
            if typed.lower() in ("", "answer"):
                return
            if typed.lower() == "skip":
                raise _SkipCase
            if typed.lower() == "back":
                _tell("Nothing comes before the facts. Enter goes on to the questions.")
            elif not self._common(typed):
                self._ask(typed)

    def _choice(self, choice_id: str) -> bool:
        """Ask one question. Whether to go on rather than back."""
        choice = self._base.choices[choice_id]
        options = [option.id for option in choice.options]
        said = [(option.id, option.says) for option in choice.options]
        _say(question_page(choice.title, said, self._attempt.answers.get(choice_id)))
        while True:
            typed = _read("answer > ")
            match typed.lower():
                case "skip":
                    self._attempt.answers.pop(choice_id, None)
                    return True
                case "back":
                    return False
                case "" if choice_id in self._attempt.answers:
                    return True
                case "":
                    _say(f"Type a number from 1 to {len(options)}, the name of an option, or skip.")
                    continue
            if self._common(typed):
                continue
            try:
                self._attempt.answers[choice_id] = one_of(typed, options)
                return True
            except NotUnderstood as error:
                _tell(f"{error}.")

    def _works(self) -> None:
        """Ask for the works. There is no way back: the works offered would give the answers before away."""
        offered = self._attempt.case.offered
        name = self._attempt.cases.subject.works
        said = [(work, self._base.members[name][work].says) for work in offered]
        title = f"{self._base.sets[name].title}: which of these are due (several numbers, or none)"
        _say(question_page(title, said, None))
        while True:
            typed = _read("works > ")
            if typed.lower() == "skip":
                return
            if typed.lower() == "back":
                _tell("The works offered would give the answers before away: those stand.")
            elif not typed:
                _tell("Type the numbers of the works, such as 1 3 5-7; or none, or skip.")
            elif not self._common(typed):
                try:
                    self._attempt.works = several_of(typed, offered)
                    return
                except NotUnderstood as error:
                    _tell(f"{error}.")

    def _common(self, typed: str) -> bool:
        """What can be typed anywhere. Whether it was that."""
        word, _, rest = typed.partition(" ")
        match word.lower():
            case "quit" | "q" | "exit":
                raise _Over
            case "facts" if not rest:
                _say(facts_page(self._attempt))
            case "help" if not rest:
                _say(HELP)
            case "?":
                self._explain(rest)
            case _ if word.startswith("?"):
                self._explain(typed[1:])
            case "ask" if rest:
                self._ask(rest)
            case "ask":
                _say(asking_page(self._attempt, self._numbers))
            case _:
                return False
        return True

    def _explain(self, rest: str) -> None:
        if not rest.strip():
            _say(HELP)
            return
        try:
            _say(fact_page(self._fact(rest, list(facts()))))
        except NotUnderstood as error:
            _tell(f"{error}.")

    def _ask(self, typed: str) -> None:
        """Ask for one fact, or for several; for none where one of them is not understood."""
        try:
            names = [self._fact(each, self._attempt.to_ask()) for each in parted(typed)]
        except NotUnderstood as error:
            _tell(f"{error}. Type ask for the list of what may be asked for.")
            return
        for name in dict.fromkeys(names):
            _say(asked_page(self._attempt.ask(name), self._attempt))

    def _fact(self, typed: str, offered: list[str]) -> str:
        """The fact meant; a number is that of the list as it first was."""
        text = typed.strip()
        if not (text.isascii() and text.isdigit()):
            return fact_of(text, offered)
        name = one_of(text, self._to_ask)
        if name not in offered:
            raise NotUnderstood(f"{name} has been asked for, or is known not to apply")
        return name

    def _say_what_follows(self, choice_id: str, option_id: str) -> None:
        choice = self._base.choices[choice_id]
        says = next(option.says for option in choice.options if option.id == option_id)
        _say(follows_page(choice.title, option_id, says))


def _say(text: str) -> None:
    sys.stdout.write(text.rstrip("\n") + "\n")
    sys.stdout.flush()


def _tell(text: str) -> None:
    _say(message_page(text))


def _read(prompt: str) -> str:
    """One line typed, without blanks around it; the echo of a pipe is the line itself, so that a record can be read."""
    typed = input(prompt).strip()
    if not sys.stdin.isatty():
        sys.stdout.write(f"{typed}\n")
    return typed
