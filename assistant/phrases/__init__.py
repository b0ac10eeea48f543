"""The phrase book, whole-utterance match, spoken numbers and phrase craft."""
