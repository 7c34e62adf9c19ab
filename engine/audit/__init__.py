"""Checks a version of the rule base: its form, its sources, what is proved of it, what its tests would notice."""
