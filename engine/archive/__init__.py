"""Past jobs: taken in, judged in bulk, set beside what was recommended and how it turned out."""
