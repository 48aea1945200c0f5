"""Calibration sheets: their description, the built-in ones, how they are printed or engraved."""
