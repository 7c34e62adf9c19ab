"""How steps from one decision to another are called and coloured, wherever versions are compared."""

from __future__ import annotations

from engine.audit.boldness import Step

STEPS: dict[Step, str] = {
    "bolder": "bolder",
    "newly_open": "newly open",
    "newly_settled": "newly settled",
    "more_cautious": "more cautious",
    "otherwise": "otherwise",
}
STEP_STYLES: dict[Step, str] = {"bolder": "bold red", "newly_open": "bold yellow", "more_cautious": "bold green"}
