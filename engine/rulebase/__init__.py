"""What a rule is: the files of a version read, checked, and compiled to one small typed form; the versions."""
