"""What came of changing rules on purpose, as data."""

from __future__ import annotations

from typing import Literal

from engine.audit.spot import Spot
from engine.decision.model import Part

Fate = Literal["examples", "vectors", "recorded", "equivalent", "only_reasons", "survived", "unsettled"]
"""Which tests noticed a changed rule first; or, where none did: it was proved to hold and conclude alike in every
survey (`equivalent`), or to decide alike in every survey for other reasons (`only_reasons`); a survey is decided
otherwise (`survived`); or that could be neither proved nor shown (`unsettled`)."""


class OperatorCount(Part):
    """What became of the changed rules of one kind."""

    operator: str
    says: str
    made: int
    examples: int
    vectors: int
    recorded: int
    equivalent: int
    only_reasons: int
    survived: int
    unsettled: int

    @property
    def killed(self) -> int:
        """How many some test noticed."""
        return self.examples + self.vectors + self.recorded


class Unnoticed(Part):
    """A changed rule that no test noticed, although it may decide otherwise.

    `mutant` is the rule's id and the number of the change among that rule's. `survey` is the text of a survey that is
    decided otherwise, `differs` how; `why` is why there is none where it is unsettled.
    """

    mutant: str
    rule: str
    title: str
    at: Spot
    operator: str
    says: str
    survey: str | None
    differs: str
    why: str


class MutationReport(Part):
    """The outcome for one version. `sample` is how many changed rules were drawn with `seed`; `None`: all of them.

    `made` is how many there are. `left_out` are vectors and recorded decisions that the rules as they are do not bear
    out.
    """

    format: Literal["bedjoint-mutation-1"] = "bedjoint-mutation-1"
    rules: str
    digest: str
    made: int
    sample: int | None
    seed: int | None
    vectors: int
    recorded: int
    left_out: int
    operators: tuple[OperatorCount, ...]
    unnoticed: tuple[Unnoticed, ...]

    @property
    def total(self) -> OperatorCount:
        """All kinds together."""
        fields = ("made", "examples", "vectors", "recorded", "equivalent", "only_reasons", "survived", "unsettled")
        sums = {name: sum(getattr(each, name) for each in self.operators) for name in fields}
        return OperatorCount(operator="all", says="all kinds together", **sums)

    @property
    def kill_rate(self) -> float:
        """The share noticed, in %, of those that are not proved to decide alike; 100 where there are none."""
        total = self.total
        to_notice = total.made - total.equivalent - total.only_reasons
        return 100 * total.killed / to_notice if to_notice else 100.0
