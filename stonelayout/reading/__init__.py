"""Reading a drawing or picture file as artwork, and telling what of it was not read."""
