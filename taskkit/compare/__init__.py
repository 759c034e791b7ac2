"""Plan against plan, on the ground."""

from taskkit.compare.comparison import Comparison, Difference, LargestMove
from taskkit.compare.plans import compare_plans

__all__ = ["Comparison", "Difference", "LargestMove", "compare_plans"]
