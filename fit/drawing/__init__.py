"""Outlines to SVG, DXF and PDF at true size, and back."""
