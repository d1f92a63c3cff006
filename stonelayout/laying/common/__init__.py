"""What all patterns share: what is asked and answered, parts, symmetry, smooth outlines."""
