"""The step engine: pure, time passed in; facts, never rules, decisions with reasons."""
