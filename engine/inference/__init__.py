"""Which rules hold, and why: the three-valued evaluator, forward chaining, and their agreement."""
