"""Outline and shop choices to a cut plan."""
