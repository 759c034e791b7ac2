"""Is everything there that an export, and turning by itself, needs of each field and job; and what is not."""

from taskkit.readiness.answers import Answer, Facts, FieldAnswers, JobAnswers, Readiness, State, Topic
from taskkit.readiness.asking import readiness

__all__ = ["Answer", "Facts", "FieldAnswers", "JobAnswers", "Readiness", "State", "Topic", "readiness"]
