"""Questions put to a decision: why, why not, what would change it, what to find out next; and how it is drawn."""
