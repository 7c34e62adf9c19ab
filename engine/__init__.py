"""The engine: from a survey to a cited decision. It never prints and knows no terminal."""
