"""What the words and the names of columns of the results mean, in short."""

from __future__ import annotations

ANOTHER = (
    "\u201cAnother to consider\u201d: no must and no should speaks against what was installed. Either only a rule to "
    "consider does, or it stands by the rules and another stands before it in their order. It need not be a mistake."
)
COLUMNS = (
    ("at.file, at.sheet, at.row", "where the row stands: its file, its sheet, its number there"),
    ("decided.NAME", "what the rules decide on the facts there are"),
    ("possible.NAME", "what they may still decide once more facts are known"),
    ("recommended.NAME", "what was recommended, as it was written down"),
    ("finding.NAME", "agree, differs, not_decidable (facts that are not recorded could decide it), not_recorded"),
    ("grade.NAME", "how gravely it differs: the word of the strongest rule against it: must, should or consider"),
    ("against.NAME", "the rules that speak against what was recommended"),
    ("left_out.NAME, left_out_grade.NAME", "what rules ask for and was not recommended; the strongest word for it"),
    ("called_for_now.NAME", "what rules ask for on what is known, and may drop out once more is known"),
    ("called_for_now.NAME", "what is called for on what is known, was not recommended, and may yet drop out"),
    ("beyond.NAME", "what was recommended and no rule asks for"),
    ("installed.medium, outcome.result", "what was installed, and how the wall turned out"),
    ("finding.installed, grade.installed", "the same of what was installed, held against the medium decided"),
    ("as_recommended", "whether the medium that was recommended was installed"),
    ("over_specified", "a medium that usually costs less and stands as well"),
    ("primary", "the points that differ by themselves, and do not merely follow from an earlier one"),
    ("worst, severity", "the gravest finding of the wall; a number for the order, the gravest the greatest"),
    ("status, rules", "settled, provisional or undecided; the version of the rules that judged"),
)
"""Names of columns of walls.csv and walls.parquet, and what stands in them. NAME is that of a choice or a set."""
