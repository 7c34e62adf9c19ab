"""Facts: how each is declared, and how a survey file becomes typed facts, each known or unknown, with its place."""
