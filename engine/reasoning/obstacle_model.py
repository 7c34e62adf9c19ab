"""What stands in the way of an option, a rule or a member of a set, as data."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from engine.decision.model import Heading, Part, Status
from engine.reasoning.reason_model import Met, RuleHead, TruthWord


class FlipSaid(Part):
    """One test, the truth it has, and the truth it would have to take."""

    test: str
    now: TruthWord
    must_be: TruthWord


class NeedSaid(Part):
    """What one variable would have to be for a rule to hold, or to hold no longer.

    `ways` are sets of tests whose truths would have to change, each set whole and enough by itself. `values` are the
    values that would do, where they can be listed, and `by` how far a number is from them. `earlier` names the parts of
    the answer, further down, that say what it takes. `then_against` are rules that would come to rule out the option
    asked for, with all else as it is; `undone` where they would whatever else was found: the change is to no avail.
    """

    kind: Literal["need"] = "need"
    needs: str
    values: tuple[str, ...]
    by: str
    met: Met
    computed_from: tuple[str, ...]
    ways: tuple[tuple[FlipSaid, ...], ...]
    earlier: tuple[str, ...]
    then_against: tuple[str, ...]
    undone: bool


class TogetherSaid(Part):
    """Every part is needed."""

    kind: Literal["all"] = "all"
    parts: tuple[ChangeSaid, ...]


class OneOfSaid(Part):
    """Each part would do by itself; where there are none, nothing would."""

    kind: Literal["any"] = "any"
    parts: tuple[ChangeSaid, ...]


ChangeSaid = Annotated[NeedSaid | TogetherSaid | OneOfSaid, Field(discriminator="kind")]


class RuleChanged(RuleHead):
    """A rule that would have to hold, or to hold no longer, and what that takes.

    `frees` are options before the one asked for that would then stand in its way. `change` is left out where the same
    change of the rule is shown before, and in a route that is to no avail.
    """

    must: Literal["hold", "stop"]
    holds: TruthWord
    change: ChangeSaid | None
    frees: tuple[str, ...] = ()


class RuledOut(Part):
    """Obstacle: rules that hold rule the option out. Each of them would have to stop holding."""

    kind: Literal["ruled_out"] = "ruled_out"
    rules: tuple[RuleChanged, ...]


class NoSupport(Part):
    """Obstacle: no rule that would bring it holds. One of them would have to."""

    kind: Literal["no_support"] = "no_support"
    rules: tuple[RuleChanged, ...]


class Route(Part):
    """One way to be rid of an option: rules that must all change.

    `frees` are options that would then stand in the way; where there are any, the route is to no avail.
    """

    rules: tuple[RuleChanged, ...]
    frees: tuple[str, ...]


class StandsBefore(Part):
    """Obstacle: an option before it in the order stands, or would once the rules that rule both out are gone.

    `falls_with` are rules among those named before: once they hold no longer, this obstacle is gone with them.
    Otherwise one of the routes has to be taken.
    """

    kind: Literal["stands_before"] = "stands_before"
    option: str
    says: str
    stands: Literal["now", "then"]
    is_open: bool
    supported_by: tuple[str, ...]
    falls_with: tuple[str, ...]
    routes: tuple[Route, ...]


Obstacle = Annotated[RuledOut | NoSupport | StandsBefore, Field(discriminator="kind")]


class OptionObstacles(Part):
    """Why a choice did not come to an option. `is_taken`: it did, and nothing stands in its way."""

    kind: Literal["option"] = "option"
    id: str
    choice: str
    title: str
    option: str
    says: str
    order_because: str
    taken: str
    status: Status
    is_taken: bool
    possible: bool
    open_facts: tuple[str, ...]
    obstacles: tuple[Obstacle, ...]


class Leaving(Part):
    """What would take a choice away from the option it came to, to one of `wanted`: each route by itself."""

    kind: Literal["leaving"] = "leaving"
    id: str
    choice: str
    title: str
    taken: str
    wanted: tuple[str, ...]
    routes: tuple[Route, ...]


class RuleObstacles(Part):
    """Why a rule does not hold; `is_held`: it does."""

    kind: Literal["rule"] = "rule"
    id: str
    is_held: bool
    rule: RuleChanged


class MemberObstacles(Part):
    """Why something is not in a set, or what would take it out of it again."""

    kind: Literal["member"] = "member"
    id: str
    set: str
    title: str
    member: str
    says: str
    wanted: Literal["in", "out"]
    is_so: bool
    possible: bool
    obstacles: tuple[Obstacle, ...]


Answer = Annotated[OptionObstacles | Leaving | RuleObstacles | MemberObstacles, Field(discriminator="kind")]


class WallObstacles(Part):
    """The answer for one wall; `earlier` are the earlier decisions it rests on, as far as was asked for.

    `cut` names those that were left out. `example` is one of the changes named, to a value that would do and that the
    survey can have, as `--set` takes it; `None` where none was found.
    """

    wall: str
    note: str | None
    status: Status
    answer: Answer
    earlier: tuple[Answer, ...]
    cut: tuple[str, ...]
    example: str | None


class Obstacles(Heading):
    """The answer of `bedjoint why-not`."""

    format: Literal["bedjoint-why-not-1"] = "bedjoint-why-not-1"
    about: str
    depth: int
    walls: tuple[WallObstacles, ...]


for _model in (TogetherSaid, OneOfSaid, RuleChanged, Obstacles):
    _model.model_rebuild()
