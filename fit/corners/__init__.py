"""Corner families, and estimators for a single circle or corner."""
