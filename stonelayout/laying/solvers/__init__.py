"""Solvers that fills share: relaxation, its minimiser, distances to walls, voids, windows."""
