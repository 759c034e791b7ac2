"""Plan fields, guidance lines, headlands and row ends; carry them as ISO 11783-10 task data; prove they arrived."""

__version__ = "0.1.0"
