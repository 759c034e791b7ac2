"""Results as text or JSON: they render, they compute nothing."""
