"""What a file is, by its first bytes and its name."""

from __future__ import annotations


def kind_of_file(name: str, data: bytes) -> str:
    """Say what a file is; "" when neither its first bytes nor its name tell.

    One of ``a picture``, ``a drawing``, ``a layout``, ``a job file``: as messages call it.
    """
    head = data[:64].removeprefix(b"\xef\xbb\xbf").lstrip()
    if head.startswith((b"\x89PNG", b"\xff\xd8")):
        return "a picture"
    if head.startswith((b"<", b"\x1f\x8b")):
        return "a drawing"
    if head.startswith(b"{"):
        return "a layout"
    return "a job file" if name.lower().endswith(".toml") else ""
