"""Speaking: synthesis in a child process, cache, playback, tones."""
