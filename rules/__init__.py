"""The rule base as data: one folder per version. No Python logic lives here."""
