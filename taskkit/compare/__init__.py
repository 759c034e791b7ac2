"""Plan against plan, on the ground."""
