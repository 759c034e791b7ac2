"""Rules beyond the dictionary: what a schema cannot say."""
