"""The tablet page."""
