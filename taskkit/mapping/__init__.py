"""Plan to task data and back, one module a topic, both directions side by side."""
