"""Solvers that fills share: each stands once.

- `mix`: discs of one or several sizes as a value.
- `room_distance`: signed distances to the outlines of rooms, fast for many points at once.
- `relaxation`: pushes discs apart and into their room, many trials at once, minimised by `lbfgs`;
  and the fading pushes that share out what room is left.
- `voids`: places where another disc may go, the widest first.
- `window_search`: a change at one place, tried while only the discs in a window about it move.
"""
