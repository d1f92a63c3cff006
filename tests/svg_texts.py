"""Drawings given as text: what tests of reading start from."""

from stonelayout.svg import read_svg

HEAD = '<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="50mm" viewBox="0 0 100 50">'


def read(body, head=HEAD, **options):
    return read_svg((head + body + "</svg>").encode(), name="test.svg", **options)


def shape(body, **options):
    return read(body, **options).shapes[0]
