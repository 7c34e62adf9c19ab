"""The trade's arithmetic: from a decision and the measured wall to the schedule of work.

Where the line runs, where it is drilled, what goes in, what else is made good, what it costs and how long it
dries. Pure functions over frozen dataclasses; every trade figure comes in as an argument, none stands here.
"""
