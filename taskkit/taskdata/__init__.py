"""ISO 11783-10 itself: files, elements and attributes. It knows nothing of plans."""
