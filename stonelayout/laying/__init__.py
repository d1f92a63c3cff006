"""Laying stones: rules pick shapes, patterns lay rows and fills, later rules give way."""
