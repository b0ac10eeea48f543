"""The commands a person types, one module each; ``assistant.cli`` ties them together."""
