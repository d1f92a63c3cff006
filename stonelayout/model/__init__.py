"""Plain values that the parts exchange: artwork, catalogue, job, layout, layers, order."""
