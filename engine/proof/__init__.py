"""The prover: rules and the space of consistent surveys as formulas for an SMT solver."""
