"""The part's edge at full resolution, and its projection to the plan outline."""
