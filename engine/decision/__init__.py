"""Decisions: one per wall, each choice with its reasons, works, cautions, open questions."""
