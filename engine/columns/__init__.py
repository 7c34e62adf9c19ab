"""The columnar reader: the rule base over flat columns, many walls at once, to the conclusions the evaluator comes to."""
