"""Lines and arcs: outlines, distances, crossings, parallels, chains."""
