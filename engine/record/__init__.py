"""Decision records: what was decided, from which facts, by which rules and code; judged again, and overridden."""
