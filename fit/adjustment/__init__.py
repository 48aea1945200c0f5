"""The least-squares adjustment of contours and readings to a family, and its outlier tests."""
