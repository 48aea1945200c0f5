"""What a photo is before anything is known of its sheet: pixels, linear light, edges, paths."""
