"""Parts of a shape that are too narrow for two rows: one row between them."""
