"""The columnar reader: the rule base over flat columns, many walls at once, to what the evaluator comes to."""
