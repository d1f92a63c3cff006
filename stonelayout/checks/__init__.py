"""The checks before cutting: webs, stones between layers, tear lines, contrast, size.

``run_checks`` is the one to call on a layout; ``all_checks`` is what it and all commands share.
"""
