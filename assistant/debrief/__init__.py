"""The trainer's side: replay, statistics, practice yard."""
