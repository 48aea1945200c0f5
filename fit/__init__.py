"""Contours and hand readings to one clean outline with its uncertainty."""
