"""The farm's own model: what a plan means, not how it is encoded."""
