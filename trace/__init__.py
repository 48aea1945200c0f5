"""Photos of a part on a calibration frame to contours in millimetres."""
