"""The engine: how stones are laid on one shape. Each pattern is one function from Ask to Laid."""
