"""Rules beyond the dictionary: what a schema cannot say."""

import taskkit.checks.rules  # noqa: F401 - finds all rules, or stops the program
from taskkit.checks.context import SetContext
from taskkit.checks.example import Example
from taskkit.checks.rule import RULES, Hit, Need, Rule, rule
from taskkit.checks.runner import run_checks

__all__ = ["RULES", "Example", "Hit", "Need", "Rule", "SetContext", "rule", "run_checks"]
