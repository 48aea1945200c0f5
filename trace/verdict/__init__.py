"""Whether a photo, and the edge followed in it, can be trusted."""
