"""What may stand in a mapping file: one short example of every key, for the help and the head of a proposed mapping."""

from __future__ import annotations

EXAMPLE = """\
columns:              # a header of the sheet: the column it stands for
  Job no.: reference
  Elevation: wall
  Thickness (cm): build.thickness_mm
  Damp height: evidence.damp_height_mm
  We recommended: [recommended.verdict, recommended.medium]   # or several
ignored: [Client, Price]                 # headers that are passed over
values:               # by column, a word of the sheet: our word, or unknown
  wall: {North gable: north-gable}
  recommended.verdict: {DPC cream: treat, No treatment: no_course}
  recommended.medium: {DPC cream: cream, No treatment: unknown}
units:                # by column, what its numbers are multiplied by
  build.thickness_mm: 10
decimal_comma: yes    # 2,5 is two and a half
date_format: dd/mm/yyyy                  # or d.m.yyyy, mm/dd/yyyy, %d %b %Y
constants:            # what the sheet lacks and is the same in every row
  surveyor: S3
set_separator: ','    # what stands between the words of one cell; else ;
"""
