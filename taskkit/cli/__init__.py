"""The commands: each one hands its options to ``taskkit.api`` and a result to ``taskkit.reports``."""
