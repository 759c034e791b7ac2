"""Plan against plan, on the ground."""

from taskkit.compare.plans import Comparison, Difference, compare_plans

__all__ = ["Comparison", "Difference", "compare_plans"]
