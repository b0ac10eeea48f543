"""What a procedure, rig and site are: models, loading, linting, the resolved plan."""
