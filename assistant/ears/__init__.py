"""Hearing: typed lines, WAV files, microphone, recognisers and their fusion."""
