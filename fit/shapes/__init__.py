"""Families of whole outlines: straight or bowed sides joined by corners."""
