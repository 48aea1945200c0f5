"""From the markers in a photo to the camera: detection, sub-pixel edges, bundle adjustment."""
