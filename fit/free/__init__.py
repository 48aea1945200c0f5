"""Outlines that no family describes: chains of lines and arcs from one contour or several."""
