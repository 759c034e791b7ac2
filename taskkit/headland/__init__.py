"""The engineering of headlands: from a field of the plan to lines and ground that machines go by."""

from taskkit.headland.layout import HeadlandLayout, LaidPass, LaidStretch, lay_out

__all__ = ["HeadlandLayout", "LaidPass", "LaidStretch", "lay_out"]
