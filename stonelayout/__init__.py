"""stonelayout: from artwork to hot-fix stone templates."""
