"""Lists of names: many designs made from one job, in parallel."""
