"""Plane geometry in mm: curves, polylines, regions, centre lines, neighbours, measures."""
