"""Exploration of every reachable state of the engine."""
