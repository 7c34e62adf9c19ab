"""Practice cases for a trainee: cases, answers, marks, progress."""
