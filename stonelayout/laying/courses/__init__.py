"""The pattern ``courses``: rows parallel to the outline that fit the local width."""
