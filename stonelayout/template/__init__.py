"""Templates: layers of holes, register marks, tiles, panels of the roll, the cut path."""
